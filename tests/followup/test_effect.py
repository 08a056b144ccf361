"""The effectiveness check, worked out by hand.

Criterion: MSR-001 at most 12 % in each of 3 months with at least 50 exams; action done on 4
November 2026; check on 1 March 2027, so December, January and February can count.

By hand: 6 of 60 = 10.0 %, 4 of 55 = 7.3 %, 6 of 50 = 12.0 % (on the limit: met): 16 of 165 = 9.7 %.
Wilson's interval of 16 of 165 with z = 1.959964: centre (16 + 1.9207) / (165 + 3.8415) = 0.106140;
half width 1.959964 × sqrt(16 × 149 / 165 + 0.9604) / 168.8415 = 0.045532, so 0.0606 to 0.1517.
"""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from qa.followup.effect import EffectResult, check_effect
from qa.model.case_words import EffectVerdict, MonthVerdict
from qa.model.schemas import MEASURE_VALUES
from tests.followup.case_steps import CHECK_ON, CRITERION

DONE_ON = date(2026, 11, 4)
FEBRUARY = date(2027, 2, 1)
SETS = {"": "common-practice.v1", "v2": "common-practice.v2"}


def values(*months: tuple[str, int, int] | tuple[str, int, int, str]) -> pl.DataFrame:
    rows = [
        {
            "unit_kind": "site",
            "unit_id": "north",
            "site_id": "north",
            "measure_id": "MSR-001",
            "criteria_id": SETS[rest[0] if rest else ""],
            "month": date.fromisoformat(f"{month}-01"),
            "n_events": n_events,
            "n": n,
            "value": n_events / n if n else None,
            "lower": None,
            "upper": None,
        }
        for month, n_events, n, *rest in months
    ]
    return MEASURE_VALUES.conform(pl.DataFrame(rows, schema=MEASURE_VALUES.to_polars()))


GOOD = (("2026-12", 6, 60), ("2027-01", 4, 55), ("2027-02", 6, 50))
BEFORE = (("2026-10", 30, 60), ("2026-11", 20, 60))


def check(frame: pl.DataFrame, **changed: object) -> EffectResult:
    given: dict = {
        "criterion": CRITERION,
        "done_on": DONE_ON,
        "as_of": CHECK_ON,
        "published_to": FEBRUARY,
        "snapshot_id": "S1",
    } | changed
    return check_effect(frame, given.pop("criterion"), **given)


def test_worked_example() -> None:
    result = check(values(*BEFORE, *GOOD))
    assert result.verdict is EffectVerdict.EFFECTIVE
    assert (result.n_events, result.n) == (16, 165)
    assert result.value == pytest.approx(0.0970, abs=5e-5)
    assert (result.lower, result.upper) == (
        pytest.approx(0.0606, abs=5e-5),
        pytest.approx(0.1517, abs=5e-5),
    )
    assert [str(month.verdict) for month in result.months] == ["met"] * 3
    assert result.sentence == (
        "Effective. Asked: MSR-001 at most 12.0 % in each of 3 months with at least 50 exams. "
        "Found: December 2026 6 of 60 (10.0 %), January 2027 4 of 55 (7.3 %), "
        "February 2027 6 of 50 (12.0 %)."
    )


@pytest.mark.parametrize(
    ("february", "verdict", "month"),
    [
        ((6, 50), "effective", "met"),
        ((7, 50), "not effective", "not met"),
        ((5, 49), "too few exams", "too few exams"),
        ((0, 0), "too few exams", "no exams published"),
        ((6, 50, "v2"), "too few exams", "judged by another criteria set"),
    ],
)
def test_one_month_decides(february: tuple, verdict: str, month: str) -> None:
    result = check(values(*GOOD[:2], ("2027-02", *february)))
    assert (str(result.verdict), str(result.months[-1].verdict)) == (verdict, month)


def test_month_of_the_action_and_of_the_check_do_not_count() -> None:
    result = check(values(("2026-11", 60, 60), *GOOD, ("2027-03", 60, 60)))
    assert result.verdict is EffectVerdict.EFFECTIVE
    assert [month.month.month for month in result.months] == [12, 1, 2]


def test_thin_month_is_left_out_and_the_newest_judged_months_count() -> None:
    """Asked on 1 May: November's 40 % is the action's own month; December is crowded out."""
    later = replace(CRITERION, check_on=date(2027, 5, 1))
    months = (("2026-12", 50, 60), ("2027-01", 4, 55), ("2027-02", 9, 10), ("2027-03", 6, 60))
    result = check(
        values(*months, ("2027-04", 6, 60)),
        criterion=later,
        as_of=date(2027, 5, 1),
        published_to=date(2027, 4, 1),
    )
    assert result.verdict is EffectVerdict.EFFECTIVE
    assert [month.verdict for month in result.months] == [
        MonthVerdict.EARLIER,
        MonthVerdict.MET,
        MonthVerdict.TOO_FEW,
        MonthVerdict.MET,
        MonthVerdict.MET,
    ]
    assert (result.n_events, result.n) == (16, 175)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"as_of": date(2027, 2, 28)}, "due on 2027-03-01"),
        ({"published_to": date(2027, 1, 1)}, "February 2027 is not published"),
        ({"published_to": None}, "February 2027 is not published"),
    ],
)
def test_too_early_is_no_verdict(changed: dict, words: str) -> None:
    result = check(values(*GOOD), **changed)
    assert result.verdict is EffectVerdict.NOT_YET
    assert words in result.sentence


def test_a_measure_that_should_rise() -> None:
    """148 of 165 judged: at least 85 % asked; 51 of 60 is 85 % exactly."""
    rising = replace(CRITERION, is_below=False, threshold_share=0.85)
    months = (("2026-12", 51, 60), ("2027-01", 50, 55))
    assert check(values(*months, ("2027-02", 47, 50)), criterion=rising).verdict == "effective"
    assert check(values(*months, ("2027-02", 42, 50)), criterion=rising).verdict == "not effective"


def test_nothing_published_at_all() -> None:
    result = check(MEASURE_VALUES.empty())
    assert (result.verdict, result.value, result.n) == (EffectVerdict.TOO_FEW, None, 0)


def test_interval_agrees_with_another_library() -> None:
    from statsmodels.stats.proportion import proportion_confint

    result = check(values(*GOOD))
    assert (result.lower, result.upper) == pytest.approx(
        proportion_confint(16, 165, method="wilson"), abs=1e-12
    )
