"""lsm_baveno7.v1.

Source: Baveno VII 2022, rule of five, read in summaries: 10, 15, 20 and 25 kPa, TE only.
Bands are histogram bins for comparing sites, not a diagnosis and not a stage.
"""

from tests.exam_tables import exams_of, judge
from tests.spec.grade_twin import assert_table_is_its_published_twin

TABLE = "lsm_baveno7.v1"
BANDS = [
    (4.0, 0),
    (9.99, 0),
    (10.0, 1),
    (14.9, 1),
    (15.0, 2),
    (20.0, 3),
    (24.9, 3),
    (25.0, 4),
    (75.0, 4),
]


def test_band_begins_at_its_lower_edge() -> None:
    exams = exams_of([{"stiffness_value": value} for value, _ in BANDS], technique="TE")
    found = judge(exams, tables=[TABLE])
    assert found["stiffness_band"].to_list() == [band for _, band in BANDS]
    assert set(found["stiffness_table_id"]) == {TABLE}


def test_other_techniques_have_no_band() -> None:
    exams = exams_of([{"stiffness_value": BANDS[-1][0]}], technique="pSWE")
    assert judge(exams, tables=[TABLE])["stiffness_band"].to_list() == [None]


def test_edges_source_and_confidence_are_as_listed() -> None:
    assert_table_is_its_published_twin("lsm_baveno7")
