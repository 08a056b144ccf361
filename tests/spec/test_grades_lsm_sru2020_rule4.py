"""lsm_sru2020_rule4.v1.

Source: SRU 2020 as quoted in Peltec and Sporea, WJG 2024, Fig. 3:
5, 9, 13 and 17 kPa for pSWE and 2D-SWE only.
Bands are histogram bins for comparing sites, not a diagnosis and not a stage.
"""

from tests.exam_tables import exams_of, judge
from tests.spec.grade_twin import assert_table_is_its_published_twin

TABLE = "lsm_sru2020_rule4.v1"
BANDS = [(4.9, 0), (5.1, 1), (8.9, 1), (9.0, 2), (12.9, 2), (13.1, 3), (16.9, 3), (17.1, 4)]


def test_band_begins_at_its_lower_edge() -> None:
    exams = exams_of([{"stiffness_value": value} for value, _ in BANDS], technique="2D-SWE")
    found = judge(exams, tables=[TABLE])
    assert found["stiffness_band"].to_list() == [band for _, band in BANDS]
    assert set(found["stiffness_table_id"]) == {TABLE}


def test_other_techniques_have_no_band() -> None:
    exams = exams_of([{"stiffness_value": BANDS[-1][0]}], technique="TE")
    assert judge(exams, tables=[TABLE])["stiffness_band"].to_list() == [None]


def test_edges_source_and_confidence_are_as_listed() -> None:
    assert_table_is_its_published_twin("lsm_sru2020_rule4")
