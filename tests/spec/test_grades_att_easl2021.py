"""att_easl2021.v1.

Source: EASL 2021 (from memory, verify): a single edge of 275 dB/m, TE.
Bands are histogram bins for comparing sites, not a diagnosis and not a stage.
"""

from tests.exam_tables import exams_of, judge
from tests.spec.grade_twin import assert_table_is_its_published_twin

TABLE = "att_easl2021.v1"
BANDS = [(274.0, 0), (275.0, 1), (400.0, 1)]


def test_band_begins_at_its_lower_edge() -> None:
    exams = exams_of([{"attenuation_value": value} for value, _ in BANDS], technique="TE")
    found = judge(exams, tables=[TABLE])
    assert found["attenuation_band"].to_list() == [band for _, band in BANDS]
    assert set(found["attenuation_table_id"]) == {TABLE}


def test_other_techniques_have_no_band() -> None:
    exams = exams_of([{"attenuation_value": BANDS[-1][0]}], technique="pSWE")
    assert judge(exams, tables=[TABLE])["attenuation_band"].to_list() == [None]


def test_edges_source_and_confidence_are_as_listed() -> None:
    assert_table_is_its_published_twin("att_easl2021")
