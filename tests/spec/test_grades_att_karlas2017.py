"""att_karlas2017.v1.

Source: Karlas et al., J Hepatol 2017 (cut-offs from memory, verify): 248, 268 and 280 dB/m, TE.
Bands are histogram bins for comparing sites, not a diagnosis and not a stage.
"""

from tests.exam_tables import exams_of, judge
from tests.spec.grade_twin import assert_table_is_its_published_twin

TABLE = "att_karlas2017.v1"
BANDS = [(247.0, 0), (248.0, 1), (267.0, 1), (268.0, 2), (279.0, 2), (280.0, 3), (400.0, 3)]


def test_band_begins_at_its_lower_edge() -> None:
    exams = exams_of([{"attenuation_value": value} for value, _ in BANDS], technique="TE")
    found = judge(exams, tables=[TABLE])
    assert found["attenuation_band"].to_list() == [band for _, band in BANDS]
    assert set(found["attenuation_table_id"]) == {TABLE}


def test_other_techniques_have_no_band() -> None:
    exams = exams_of([{"attenuation_value": BANDS[-1][0]}], technique="pSWE")
    assert judge(exams, tables=[TABLE])["attenuation_band"].to_list() == [None]


def test_edges_source_and_confidence_are_as_listed() -> None:
    assert_table_is_its_published_twin("att_karlas2017")
