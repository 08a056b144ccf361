"""att_eddowes2019_youden.v1.

Source: Eddowes et al., Gastroenterology 2019, Youden index: 302, 331 and 337 dB/m, TE.
Bands are histogram bins for comparing sites, not a diagnosis and not a stage.
"""

from tests.exam_tables import exams_of, judge
from tests.spec.grade_twin import assert_table_is_its_published_twin

TABLE = "att_eddowes2019_youden.v1"
BANDS = [(301.0, 0), (302.0, 1), (330.0, 1), (331.0, 2), (336.0, 2), (337.0, 3)]


def test_band_begins_at_its_lower_edge() -> None:
    exams = exams_of([{"attenuation_value": value} for value, _ in BANDS], technique="TE")
    found = judge(exams, tables=[TABLE])
    assert found["attenuation_band"].to_list() == [band for _, band in BANDS]
    assert set(found["attenuation_table_id"]) == {TABLE}


def test_other_techniques_have_no_band() -> None:
    exams = exams_of([{"attenuation_value": BANDS[-1][0]}], technique="pSWE")
    assert judge(exams, tables=[TABLE])["attenuation_band"].to_list() == [None]


def test_edges_source_and_confidence_are_as_listed() -> None:
    assert_table_is_its_published_twin("att_eddowes2019_youden")
