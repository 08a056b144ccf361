"""The effectiveness check: worked out from published counts, by a rule set before the action."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

import polars as pl

from qa.followup.cases import Criterion
from qa.model.case_words import EffectVerdict, MonthVerdict
from qa.model.months import add_months, iterate_months, month_name, month_of
from qa.stats.intervals import wilson_interval


@dataclass(frozen=True)
class EffectMonth:
    """One month after the action: its counts, and what they say. value: a share; None: no exams."""

    month: date
    n_events: int
    n: int
    value: float | None
    lower: float | None
    upper: float | None
    verdict: MonthVerdict


@dataclass(frozen=True)
class EffectResult:
    """What the check says. n_events, n, value and its Wilson 95 % interval: the counted months."""

    verdict: EffectVerdict
    sentence: str
    months: tuple[EffectMonth, ...]
    n_events: int
    n: int
    value: float | None
    lower: float | None
    upper: float | None
    snapshot_id: str

    def to_json(self) -> dict[str, Any]:
        """Plain values, to be kept as they were."""
        told = asdict(self)
        for month in told["months"]:
            month["month"] = month["month"].isoformat()
        return told


def check_effect(
    values: pl.DataFrame,
    criterion: Criterion,
    *,
    done_on: date,
    as_of: date,
    published_to: date | None,
    snapshot_id: str,
) -> EffectResult:
    """Say whether an action worked.

    Args:
        values: MEASURE_VALUES of the criterion's unit and measure, any months and criteria sets.
        done_on: day of the action; its own month does not count.
        as_of: today; before the criterion's date the verdict is "not to be judged yet".
        published_to: newest month of the snapshot; None: nothing is published.
    Method: the months between the action's and the check's, both left out, with at least min_n
        exams judged by the criterion's set, count; of these the last n_months. Effective: each of
        them lies on the good side of the threshold or on it.
    Weak when: few exams let a month meet the threshold by chance (the interval beside it shows how
        far that goes); other patients come than before.
    """
    last = add_months(month_of(criterion.check_on), -1)
    months = [
        _month(values, criterion, month)
        for month in iterate_months(add_months(month_of(done_on), 1), last)
    ]
    judged = [one for one in months if one.verdict in (MonthVerdict.MET, MonthVerdict.NOT_MET)]
    counted = judged[-criterion.n_months :]
    earlier = {one.month for one in judged[: -criterion.n_months]}
    shown = tuple(
        one
        if one.month not in earlier
        else EffectMonth(**vars(one) | {"verdict": MonthVerdict.EARLIER})
        for one in months
    )
    is_in = published_to is not None and published_to >= last
    verdict = _verdict(counted, criterion, is_due=is_in and as_of >= criterion.check_on)
    n_events, n = sum(one.n_events for one in counted), sum(one.n for one in counted)
    lower, upper = _interval(n_events, n)
    return EffectResult(
        verdict=verdict,
        sentence=_sentence(verdict, criterion, counted, is_in=is_in, last=last),
        months=shown,
        n_events=n_events,
        n=n,
        value=n_events / n if n else None,
        lower=lower,
        upper=upper,
        snapshot_id=snapshot_id,
    )


def _month(values: pl.DataFrame, criterion: Criterion, month: date) -> EffectMonth:
    of_month = values.filter(pl.col("month") == month, pl.col("n") > 0)
    ours = of_month.filter(pl.col("criteria_id") == criterion.criteria_id)
    if ours.is_empty():
        is_other = not of_month.is_empty()
        verdict = MonthVerdict.OTHER_RULES if is_other else MonthVerdict.NOT_IN
        return EffectMonth(month, 0, 0, None, None, None, verdict)
    n_events, n = int(ours["n_events"].sum()), int(ours["n"].sum())
    lower, upper = _interval(n_events, n)
    share = n_events / n
    if n < criterion.min_n:
        verdict = MonthVerdict.TOO_FEW
    else:
        verdict = MonthVerdict.MET if _is_met(n_events, n, criterion) else MonthVerdict.NOT_MET
    return EffectMonth(month, n_events, n, share, lower, upper, verdict)


def _is_met(n_events: int, n: int, criterion: Criterion) -> bool:
    """A share of exactly the threshold is met, whatever the last binary digit says."""
    margin = 1e-9
    if criterion.is_below:
        return n_events / n <= criterion.threshold_share + margin
    return n_events / n >= criterion.threshold_share - margin


def _interval(n_events: int, n: int) -> tuple[float | None, float | None]:
    if not n:
        return None, None
    lower, upper = wilson_interval([n_events], [n])
    return float(lower[0]), float(upper[0])


def _verdict(
    counted: Sequence[EffectMonth], criterion: Criterion, *, is_due: bool
) -> EffectVerdict:
    if not is_due:
        return EffectVerdict.NOT_YET
    if len(counted) < criterion.n_months:
        return EffectVerdict.TOO_FEW
    is_met = all(one.verdict is MonthVerdict.MET for one in counted)
    return EffectVerdict.EFFECTIVE if is_met else EffectVerdict.NOT_EFFECTIVE


def _sentence(
    verdict: EffectVerdict,
    criterion: Criterion,
    counted: Sequence[EffectMonth],
    *,
    is_in: bool,
    last: date,
) -> str:
    side = "at most" if criterion.is_below else "at least"
    asked = (
        f"{criterion.measure_id} {side} {100 * criterion.threshold_share:.1f} % in each of "
        f"{criterion.n_months} months with at least {criterion.min_n} exams"
    )
    found = ", ".join(
        f"{month_name(one.month)} {one.n_events} of {one.n} ({100 * (one.value or 0):.1f} %)"
        for one in counted
    )
    found = found or "no month with enough exams"
    if verdict is EffectVerdict.NOT_YET:
        why = f"due on {criterion.check_on}" if is_in else f"{month_name(last)} is not published"
        return f"Not to be judged yet ({why}). Asked: {asked}. So far: {found}."
    if verdict is EffectVerdict.TOO_FEW:
        return f"Too few exams to judge. Asked: {asked}. Found: {found}."
    word = "Effective" if verdict is EffectVerdict.EFFECTIVE else "Not effective"
    return f"{word}. Asked: {asked}. Found: {found}."
