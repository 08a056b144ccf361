"""Exams of a pack: each with the rule it did not meet and the figure that did not meet it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from qa.model.definitions import CriteriaSet, StiffnessRule
from qa.model.months import MONTH_NAMES
from qa.model.published import Published
from qa.model.words import Reason, StiffnessUnit
from qa.views import words
from qa.views.exams import ExamRow

FIRST_EXAMS = 30
KEY_LENGTH = 9


@dataclass(frozen=True)
class PackExam:
    """One exam to look at, in words. The key is the start of the exam's pseudonym."""

    key: str
    day: str
    operator_id: str
    outcome: str
    why: str
    file_name: str
    row_no: int


def pack_exams(
    published: Published, rows: Sequence[ExamRow], exams: pl.DataFrame
) -> tuple[PackExam, ...]:
    """The first exams to look at.

    Args:
        rows: exams in the order of the Site screen.
        exams: the same exams as published rows, for the figures behind the reasons.
    """
    chosen = rows[:FIRST_EXAMS]
    wanted = exams.filter(pl.col("exam_key").is_in([row.exam_key for row in chosen]))
    by_key = {row["exam_key"]: row for row in wanted.iter_rows(named=True)}
    return tuple(
        PackExam(
            key=row.exam_key[:KEY_LENGTH],
            day=_day_text(row),
            operator_id=row.operator_id,
            outcome=row.outcome,
            why=why_not_met(by_key[row.exam_key], published.definitions.criteria),
            file_name=row.file_name,
            row_no=row.row_no,
        )
        for row in chosen
    )


def _day_text(row: ExamRow) -> str:
    """Example: '22 Oct'; 'Oct' where the date stands for a period."""
    month = MONTH_NAMES[row.exam_on.month - 1][:3]
    return month if row.is_date_nominal else f"{row.exam_on.day} {month}"


def why_not_met(exam: dict[str, Any], criteria: dict[str, CriteriaSet]) -> str:
    """Example: 'did not meet common-practice.v1 (IQR/median 34 % ≥ 30 %)'

    Args: exam: one row of the published frame `exams`.
    """
    criteria_id = exam["criteria_id"]
    known = criteria.get(criteria_id)
    rule = known.stiffness_rule(exam["technique"]) if known else None
    parts = [_reason_text(reason, exam, known, rule) for reason in exam["reasons"] or ()]
    if not parts:
        return f"{exam['outcome']} under {criteria_id}"
    return f"did not meet {criteria_id} ({'; '.join(parts)})"


def _reason_text(
    reason: str, exam: dict[str, Any], criteria: CriteriaSet | None, rule: StiffnessRule | None
) -> str:
    """One reason with its figure beside the rule; the bare word where a figure is missing."""
    preparation = criteria.preparation if criteria else None
    if reason == Reason.SPREAD and rule and exam["ratio_share"] is not None:
        return _spread_text(exam, rule)
    if reason == Reason.TOO_FEW_VALID and rule and exam["n_valid"] is not None:
        return f"{exam['n_valid']} valid of the {rule.min_valid} asked for"
    if reason == Reason.NO_VALID_MEASUREMENT:
        attempted = exam["n_attempted"]
        return f"no valid measurement of {attempted}" if attempted else "no valid measurement"
    if reason == Reason.SUCCESS_RATE and rule and rule.min_success_share is not None:
        if exam["success_share"] is not None:
            limit = f"{rule.min_success_share * 100:g} %"
            return f"valid of attempted {words.percent(exam['success_share'])} < {limit}"
        return "success rate too low"
    if reason == Reason.FASTING_BREACH:
        asked = preparation.min_fasting_hours if preparation else None
        if asked is not None and exam["fasting_hours"] is not None:
            return f"fasting {exam['fasting_hours']:g} h < {asked:g} h"
        return "fasting not kept"
    if reason == Reason.REST_BREACH:
        asked = preparation.min_rest_minutes if preparation else None
        if asked is not None and exam["rest_minutes"] is not None:
            return f"rest {exam['rest_minutes']:g} min < {asked:g} min"
        return "rest not kept"
    return {
        Reason.POSITION_BREACH.value: "position not kept",
        Reason.MISSING_FIGURE.value: "a figure that the rule needs was not sent",
    }.get(reason, reason)


def _spread_text(exam: dict[str, Any], rule: StiffnessRule) -> str:
    in_speed = exam["stiffness_unit"] == StiffnessUnit.M_S
    limit = rule.max_ratio_m_s_share if in_speed else rule.max_ratio_kpa_share
    sign = ">" if rule.is_limit_allowed else "≥"
    text = _percent_beyond(exam["ratio_share"], limit, is_limit_allowed=rule.is_limit_allowed)
    from_kpa = f" from {rule.ratio_from_kpa:g} kPa on" if rule.ratio_from_kpa is not None else ""
    speed = " in m/s" if in_speed else ""
    return f"IQR/median {text} {sign} {limit * 100:g} %{speed}{from_kpa}"


def _percent_beyond(share: float, limit: float, *, is_limit_allowed: bool) -> str:
    """A share with as few decimals as still show it on the right side of its limit.

    Example: 0.304 beyond "≤ 0.30" → '30.4 %', 0.34 → '34 %'
    """
    for decimals in range(5):
        shown = round(share * 100, decimals)
        if shown > limit * 100 or (shown == limit * 100 and not is_limit_allowed):
            break
    return f"{share * 100:.{decimals}f} %"
