"""Data that are too good: every check of qa/model/integrity.py at every site and operator."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from qa.drift.integrity_exams import JUMP_DAYS, Unit, prepare_exams, units_of, with_jumps
from qa.drift.integrity_limits import (
    find_beyond_limit,
    find_few_failures,
    find_jumps,
    find_one_short,
    find_repeats_until_good,
)
from qa.drift.integrity_seen import Seen
from qa.drift.integrity_times import find_beat, find_clock, find_overlaps, find_pace
from qa.drift.integrity_values import (
    find_attenuation_digits,
    find_differing_medians,
    find_duplicates,
    find_same_iqrs,
    find_same_series,
    find_stiffness_digits,
)
from qa.model.definitions import CriteriaSet
from qa.model.integrity import (
    CHECKS,
    FALSE_LEVEL,
    INTEGRITY,
    PERIOD_MONTHS,
    IntegrityCheck,
    IntegrityState,
    Judged,
)
from qa.model.months import add_months
from qa.stats.tails import binomial_lower, binomial_upper

FINDERS: dict[str, Callable[[Unit], Seen]] = {
    "INT-001": find_duplicates,
    "INT-002": find_same_series,
    "INT-003": find_same_iqrs,
    "INT-004": find_stiffness_digits,
    "INT-005": find_attenuation_digits,
    "INT-006": find_pace,
    "INT-007": find_overlaps,
    "INT-008": find_beyond_limit,
    "INT-009": find_one_short,
    "INT-010": find_repeats_until_good,
    "INT-011": find_few_failures,
    "INT-012": find_differing_medians,
    "INT-013": find_clock,
    "INT-014": find_beat,
    "INT-015": find_jumps,
}


@dataclass(frozen=True)
class _Weighed:
    seen: Seen
    expected: float | None
    p_value: float | None


def find_integrity(
    exams: pl.DataFrame,
    *,
    criteria: Mapping[str, CriteriaSet],
    homes: Mapping[str, Mapping[str, str]],
) -> pl.DataFrame:
    """Put every check to every unit over the twelve months that end with the newest.

    Args:
        exams: EXAMS with the columns of ASSESSMENTS.
        criteria: criteria sets by id; those of the exams.
        homes: for each kind of unit the home site of each unit.
    Returns: INTEGRITY, by check, kind and unit; empty where there are no exams.
    Method: each check's chance against FALSE_LEVEL shared out among the units that it can judge
        (Bonferroni), so that of a hundred honest networks at most one is asked by a check about
        its sites, and one about its operators.
    Weak when: whoever makes up data knows the checks; a habit of the whole network is nobody's.
    """
    newest = exams["month"].max() if exams.height else None
    if not isinstance(newest, date):
        return INTEGRITY.empty()
    first = add_months(newest, 1 - PERIOD_MONTHS)
    around = exams.filter(pl.col("exam_on") >= first - timedelta(days=JUMP_DAYS))
    of_period = with_jumps(around.sort("exam_at", "exam_key")).filter(pl.col("month") >= first)
    recent = prepare_exams(of_period, criteria=criteria)
    rows: list[dict[str, object]] = []
    for kind in ("site", "operator", "device"):
        checks = [one for one in CHECKS if kind in one.units]
        units = units_of(recent, kind)
        for check in checks:
            rows += [
                {**row, "site_id": homes.get(kind, {}).get(str(row["unit_id"]))}
                for row in _rows_of_check(check, kind, units)
            ]
    period = {"from_month": first, "to_month": newest}
    found = pl.DataFrame([{**row, **period} for row in rows], infer_schema_length=None)
    return _rounded(INTEGRITY.conform(found)).sort(INTEGRITY.key) if rows else INTEGRITY.empty()


def _rounded(found: pl.DataFrame) -> pl.DataFrame:
    """To figures that the order of a sum does not change, so that a refresh stays repeatable."""
    return found.with_columns(pl.col("expected", "p_value", "level").round_sig_figs(4))


def _rows_of_check(
    check: IntegrityCheck, kind: str, units: Sequence[Unit]
) -> list[dict[str, object]]:
    seen = [FINDERS[check.code](unit) for unit in units]
    judged = [one for one in seen if not one.why_not and one.n >= check.min_n]
    level = FALSE_LEVEL / max(len(judged), 1)
    n_all = sum(one.n for one in seen if not one.why_not)
    found_all = sum(one.found for one in seen if not one.why_not)
    rows = []
    for unit, one in zip(units, seen, strict=True):
        weighed = _weigh(check, one, n_others=n_all - one.n, found_others=found_all - one.found)
        state = _state(check, weighed, level)
        rows.append(
            {
                "check_id": check.code,
                "unit_kind": kind,
                "unit_id": unit.unit_id,
                "n": one.n,
                "n_found": round(float(one.found), 1),
                "expected": weighed.expected,
                "p_value": weighed.p_value,
                "level": level if weighed.p_value is not None else None,
                "state": state.value,
                "words": _words(check, weighed, state),
            }
        )
    return rows


def _weigh(check: IntegrityCheck, seen: Seen, *, n_others: float, found_others: float) -> _Weighed:
    """The chance of what was found in an honest unit."""
    if seen.why_not or seen.n < check.min_n:
        return _Weighed(seen, None, None)
    if check.judged is Judged.BY_ITSELF:
        return _Weighed(seen, seen.expected, seen.p_value)
    found = round(seen.found)
    if check.judged is Judged.ALLOWED:
        return _Weighed(
            seen, check.allowance * seen.n, binomial_upper(found, seen.n, check.allowance)
        )
    if n_others < check.min_n:
        alone = Seen(seen.n, seen.found, why_not="there are no others to compare with")
        return _Weighed(alone, None, None)
    share = found_others / n_others
    if check.judged is Judged.MORE_THAN_PEERS:
        honest = min(max(check.floor, share * check.allowance), 1.0)
        return _Weighed(seen, share * seen.n, binomial_upper(found, seen.n, honest))
    return _Weighed(seen, share * seen.n, binomial_lower(found, seen.n, share / check.allowance))


def _state(check: IntegrityCheck, weighed: _Weighed, level: float) -> IntegrityState:
    if weighed.seen.why_not:
        return IntegrityState.CANNOT_TELL
    if weighed.p_value is None:
        return IntegrityState.TOO_FEW
    is_much = check.judged is Judged.FEWER_THAN_PEERS or weighed.seen.found >= check.min_found
    return (
        IntegrityState.ASKED
        if weighed.p_value <= level and is_much and weighed.seen.is_large
        else IntegrityState.NOT_ASKED
    )


def _words(check: IntegrityCheck, weighed: _Weighed, state: IntegrityState) -> str:
    seen = weighed.seen
    if state is IntegrityState.CANNOT_TELL:
        return f"Cannot tell: {seen.why_not}."
    if state is IntegrityState.TOO_FEW:
        return f"Too few {check.counted} ({seen.n} of at least {check.min_n})."
    if state is IntegrityState.NOT_ASKED:
        return f"No question from {seen.n} {check.counted}."
    expected = "none" if weighed.expected is None else f"{weighed.expected:,.1f}"
    found = f"{seen.found:,.0f}"
    return check.question.format(found=found, n=f"{seen.n:,}", expected=expected) + seen.detail
