"""stage_castera2005_hcv.v1.

Source: Castera et al., Gastroenterology 2005; classes read in Liver Int doi 10.1111/liv.12551:
7.1, 9.5 and 12.5 kPa, TE.
Bands are histogram bins for comparing sites, not a diagnosis and not a stage.
"""

from tests.exam_tables import exams_of, judge
from tests.spec.grade_twin import assert_table_is_its_published_twin

TABLE = "stage_castera2005_hcv.v1"
BANDS = [(7.0, 0), (7.1, 1), (9.4, 1), (9.5, 2), (12.4, 2), (12.5, 3)]


def test_band_begins_at_its_lower_edge() -> None:
    exams = exams_of([{"stiffness_value": value} for value, _ in BANDS], technique="TE")
    found = judge(exams, tables=[TABLE])
    assert found["stiffness_band"].to_list() == [band for _, band in BANDS]
    assert set(found["stiffness_table_id"]) == {TABLE}


def test_other_techniques_have_no_band() -> None:
    exams = exams_of([{"stiffness_value": BANDS[-1][0]}], technique="pSWE")
    assert judge(exams, tables=[TABLE])["stiffness_band"].to_list() == [None]


def test_edges_source_and_confidence_are_as_listed() -> None:
    assert_table_is_its_published_twin("stage_castera2005_hcv")
