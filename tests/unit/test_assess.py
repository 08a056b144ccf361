"""assess_exams: which set judges, missing figures, preparation, bands, repeats."""

from dataclasses import replace
from datetime import UTC, date, datetime

import polars as pl
import pytest

from qa.assess import assess_exams
from qa.model.definitions import InForce, PreparationRule, Settings
from qa.model.errors import NetworkFolderError
from qa.model.schemas import ASSESSMENTS
from tests.exam_tables import (
    FIRST_DAY,
    criteria_in_force,
    day,
    definitions,
    exams_of,
    judge,
    read_table,
)

COMMON = "common-practice.v1"


def test_assess_exams_empty_gives_empty_frame_with_full_schema() -> None:
    assert judge(exams_of([{}]).clear()).schema == ASSESSMENTS.to_polars()


def test_assess_exams_keeps_rows_and_order() -> None:
    exams = exams_of([{"exam_key": key} for key in "cab"])
    assert judge(exams)["exam_key"].to_list() == ["c", "a", "b"]


def test_assess_exams_set_in_force_on_the_day_judges() -> None:
    exams = exams_of([{"exam_on": date(2026, 2, n)} for n in (1, 2, 3)])
    found = assess_exams(
        exams,
        criteria=criteria_in_force("classic.v1", COMMON, from_days=[FIRST_DAY, date(2026, 2, 2)]),
        grade_tables=[],
        settings=Settings(),
    )
    assert found["criteria_id"].to_list() == ["classic.v1", COMMON, COMMON]


def test_assess_exams_older_than_the_first_set_is_refused() -> None:
    exams = exams_of([{"exam_on": date(2026, 2, 1)}])
    with pytest.raises(NetworkFolderError, match=r"2026-02-01.*2026-02-02"):
        assess_exams(
            exams,
            criteria=criteria_in_force(COMMON, from_days=[date(2026, 2, 2)]),
            grade_tables=[],
            settings=Settings(),
        )


MISSING = """
n_valid  stiffness_value  stiffness_iqr  stated_ratio_share  outcome
10       5.0              1.0            -                   reliable
10       5.0              -              0.2                 reliable
10       5.0              -              0.3                 unreliable
10       5.0              1.0            0.9                 reliable
10       5.0              -              -                   not judged
10       -                -              -                   not judged
-        5.0              1.0            -                   not judged
5        -                -              -                   incomplete
0        -                -              -                   failed
-        -                -              -                   failed
"""


def test_assess_exams_missing_figures_outcomes() -> None:
    rows = read_table(MISSING)
    expected = [row.pop("outcome") for row in rows]
    assert judge(exams_of(rows))["outcome"].to_list() == expected


def test_assess_exams_success_rate_unknown_but_spread_broken_is_unreliable() -> None:
    rows = [
        {"n_attempted": None, "stiffness_iqr": 2.0},
        {"n_attempted": None, "stiffness_iqr": 0.5},
    ]
    found = judge(exams_of(rows), "classic.v1")
    assert found["outcome"].to_list() == ["unreliable", "not judged"]
    assert found["reasons"].to_list() == [["spread"], ["figure missing"]]


def test_assess_exams_technique_without_rule_is_not_judged() -> None:
    found = judge(exams_of([{"technique": "pSWE"}]), "survey-2017.v1")
    assert found.select("outcome", "is_met").row(0) == ("not judged", False)


@pytest.mark.parametrize("word", ["ineligible", "refused", "not done"])
def test_assess_exams_not_performed_has_no_verdict_and_no_reason(word: str) -> None:
    row = {"performed": word, "n_valid": None, "stiffness_value": None, "fasting_hours": 1.0}
    found = judge(exams_of([row]), "survey-2017.v1")
    seen = found.select("outcome", "attenuation_outcome", "preparation", "is_met").row(0)
    assert seen == ("not performed", "not measured", "not recorded", False)
    assert found["reasons"].to_list() == [[]]


def test_assess_exams_keeps_all_reasons_in_order() -> None:
    rows = [
        {"fasting_hours": 1.0, "n_valid": 9, "stiffness_iqr": 2.0},
        {"fasting_hours": 1.0, "n_valid": 0, "stiffness_value": None},
        {"fasting_hours": None, "n_valid": 9, "stiffness_iqr": 2.0},
    ]
    assert judge(exams_of(rows), "survey-2017.v1")["reasons"].to_list() == [
        ["fasting", "too few valid", "spread"],
        ["fasting", "no valid measurement"],
        ["too few valid", "spread", "figure missing"],
    ]


PREPARATION = """
fasting_hours  fasting_stated  rest_minutes  position_stated  said
4              -               10            kept             kept, kept, kept, kept
3.9            kept            10            kept             breach, kept, kept, breach
-              kept            9             kept             kept, breach, kept, breach
-              breach          -             -                breach, unknown, unknown, breach
-              -               10            kept             unknown, kept, kept, unknown
4              -               10            breach           kept, kept, breach, breach
"""


def test_assess_exams_preparation_hours_win_over_stated_and_unknown_is_no_pass() -> None:
    asked = PreparationRule(4.0, 10.0, is_position_asked=True, is_part_of_verdict=True)
    rule = replace(definitions().criteria[COMMON], id="asks-all.v1", preparation=asked)
    rows = read_table(PREPARATION)
    expected = [row.pop("said").replace("unknown", "not recorded") for row in rows]
    found = judge(exams_of(rows), rule)
    said = found.select(pl.concat_str("fasting", "rest", "position", "preparation", separator=", "))
    assert said.to_series().to_list() == expected
    assert found["is_met"].to_list() == [True] + [False] * 5


def test_assess_exams_bands_only_with_value_and_covered_technique() -> None:
    rows = [
        {"stiffness_value": 7.1, "attenuation_value": 247.9},
        {"stiffness_value": 7.1, "technique": "pSWE", "attenuation_value": 300.0},
        {"stiffness_value": None, "n_valid": 0},
        {"stiffness_value": 7.1, "performed": "refused"},
    ]
    tables = ["stage_castera2005_hcv.v1", "lsm_sru2020_rule4.v1", "att_karlas2017.v1"]
    found = judge(exams_of(rows), tables=tables)
    assert found["stiffness_band"].to_list() == [1, 1, None, None]
    assert found["attenuation_band"].to_list() == [0, None, None, None]
    assert found["stiffness_table_id"].to_list() == [tables[0], tables[1], None, None]


def test_assess_exams_grade_table_in_force_on_the_day_gives_the_band() -> None:
    old, new = (
        definitions().grade_tables[f"{key}.v1"] for key in ("lsm_baveno7", "stage_castera2005_hcv")
    )
    exams = exams_of([{"exam_on": day(n), "stiffness_value": 9.0} for n in (0, 1)])
    found = assess_exams(
        exams,
        criteria=criteria_in_force(COMMON),
        grade_tables=[
            (InForce(new.id, day(1), "stiffness", ("TE",)), new),
            (InForce(old.id, FIRST_DAY, "stiffness", ("TE",)), old),
        ],
        settings=Settings(),
    )
    assert found.select("stiffness_table_id", "stiffness_band").rows() == [(old.id, 0), (new.id, 1)]


REPEATS = """
exam_key  patient_key  site_id  n_valid  order_type  exam_on     is_repeat
first     ann          north    3        first       2026-01-01  no
again     ann          south    10       recall      2026-01-20  yes
later     ann          north    10       unknown     2026-02-20  no
on-day    bob          north    0        first       2026-01-01  no
in-time   bob          north    0        unknown     2026-04-01  yes
too-late  bob          north    10       unknown     2026-07-01  no
poor      cid          north    3        first       2026-01-01  no
planned   cid          north    10       follow-up   2026-02-01  no
sole      dan          north    3        first       2026-01-02  no
"""


def test_assess_exams_repeats_look_at_the_patient_s_exam_before() -> None:
    """2026-01-01 to 2026-04-01 is 90 days: the last day of the window still counts."""
    rows = read_table(REPEATS)
    expected = {row["exam_key"]: row.pop("is_repeat") == "yes" for row in rows}
    found = judge(exams_of(rows))
    assert dict(found.select("exam_key", "is_repeat").iter_rows()) == expected


def test_assess_exams_others_serve_repeats_only() -> None:
    rows = read_table(REPEATS)
    for row in rows:
        del row["is_repeat"]
    exams = exams_of(rows)
    february = exams.filter(pl.col("exam_on") >= date(2026, 1, 15))
    found = judge(february, others=exams)
    assert found["exam_key"].to_list() == february["exam_key"].to_list()
    assert found.filter("is_repeat")["exam_key"].to_list() == ["again", "in-time"]


def test_assess_exams_not_performed_exam_between_does_not_hide_a_repeat() -> None:
    rows = [
        {"patient_key": "ann", "n_valid": 2, "exam_on": day(0)},
        {"patient_key": "ann", "performed": "refused", "exam_on": day(5)},
        {"patient_key": "ann", "exam_on": day(9)},
    ]
    assert judge(exams_of(rows))["is_repeat"].to_list() == [False, False, True]


def test_assess_exams_nominal_dates_and_equal_times_give_no_repeat() -> None:
    at = datetime(2026, 1, 1, 8, tzinfo=UTC)
    rows = [
        {"patient_key": "ann", "n_valid": 2, "exam_on": day(0), "is_date_nominal": True},
        {"patient_key": "ann", "exam_on": day(9)},
        {"patient_key": "bob", "n_valid": 2, "exam_at": at},
        {"patient_key": "bob", "n_valid": 2, "exam_at": at},
    ]
    assert not judge(exams_of(rows))["is_repeat"].any()
