"""One exam: what was done, how each rule judged it, and what stood behind it on that day.

How it was done, never what a patient has: values, grades and anything of the patient stay away.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from qa.counts import count_each
from qa.drift.phantom_checks import CheckChart
from qa.followup.competence import OperatorFile
from qa.followup.outside import exams_outside
from qa.model.competence_words import ANY_PROBE
from qa.model.definitions import CriteriaSet, StiffnessRule
from qa.model.months import month_name
from qa.model.published import Published
from qa.model.words import AttenuationOutcome, Kept, Outcome, Performed, Reason
from qa.views import words
from qa.views.exam_list import is_of_exams
from qa.views.exams import REASON_WORDS, UNSIGNED, exam_places, exams_before_sign_off
from qa.views.names import short_operator_name, site_name, spoken_name

KEPT, NOT_KEPT, NOT_ASKED = "kept", "not kept", "not asked"


@dataclass(frozen=True)
class RuleRow:
    """One rule of the criteria set: what it asks, what was found, whether it was kept."""

    asks: str
    found: str
    verdict: str


@dataclass(frozen=True)
class CountedBy:
    """One measure and what the exam is in it: counted, or only in the number it is a share of."""

    measure_id: str
    title: str
    is_counted: bool


@dataclass(frozen=True)
class ExamView:
    """One exam.

    Args:
        facts: what was done, where and with what. source: file, row, profile, version.
        signed: what the device's register says of that day; "" where nothing waits.
    """

    exam_key: str
    answer: str
    subline: str
    facts: tuple[tuple[str, str], ...]
    rules: tuple[RuleRow, ...]
    criteria: CriteriaSet | None
    source: tuple[tuple[str, str], ...]
    measures: tuple[CountedBy, ...]
    month: date
    site_id: str
    operator_id: str
    device_id: str
    probe: str
    day: date
    signed: str


def exam_view(published: Published, exam_key: str) -> ExamView | None:
    """None where there is no such exam among what the reader may see."""
    rows = published.frame("exams", exam_key=exam_key)
    if rows.is_empty():
        return None
    row = rows.row(0, named=True)
    network = published.network
    criteria = published.definitions.criteria.get(row["criteria_id"] or "")
    is_unsigned = exam_key in exams_before_sign_off(published, rows)
    operator = short_operator_name(network, row["operator_id"])
    device = spoken_name(network, "device", row["device_id"])
    return ExamView(
        exam_key=exam_key,
        answer=_answer(row),
        subline=f"{operator}, {site_name(network, row['site_id'])}, {_day(row)}, {device}, "
        f"{row['technique']}, {row['probe']} probe",
        facts=_facts(row),
        rules=tuple(_rules(row, criteria)) if criteria else (),
        criteria=criteria,
        source=_source(published, row),
        measures=_measures(published, rows),
        month=row["month"],
        site_id=row["site_id"],
        operator_id=row["operator_id"],
        device_id=row["device_id"],
        probe=row["probe"],
        day=row["exam_on"],
        signed=words.as_sentence(UNSIGNED) if is_unsigned else "",
    )


def _day(row: dict[str, Any]) -> str:
    return month_name(row["month"]) if row["is_date_nominal"] else str(row["exam_on"])


def _answer(row: dict[str, Any]) -> str:
    """Example: 'This exam is unreliable: spread too wide.'"""
    outcome = row["outcome"]
    reasons = [REASON_WORDS.get(one, one) for one in row["reasons"] or ()]
    if outcome == Outcome.RELIABLE.value and not row["is_met"]:
        return words.as_sentence(f"This exam is reliable, but: {words.listed(reasons)}")
    if not reasons or outcome == Outcome.RELIABLE.value:
        return words.as_sentence(f"This exam is {outcome}")
    return words.as_sentence(f"This exam is {outcome}: {words.listed(reasons)}")


def _facts(row: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    known = row["n_attempted"] is not None
    return (
        ("Performed", row["performed"] if row["performed"] != Performed.PERFORMED.value else "yes"),
        ("Ordered as", row["order_type"]),
        ("Measurements attempted", words.whole(row["n_attempted"]) if known else "not recorded"),
        ("Duration", f"{round(row['duration_s'])} s" if row["duration_s"] else "not recorded"),
        ("Taken", row["acquisition_mode"] or "mode not stated"),
        ("Repeat", (row["repeat_kind"] or "repeat") if row["is_repeat"] else "no"),
    )


def _source(published: Published, row: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    return (
        ("File and row", exam_places(published, [row["exam_key"]])[row["exam_key"]]),
        ("Read with profile", row["profile_id"]),
        ("Version", f"{row['version_no']}, known since {row['known_at']:%Y-%m-%d %H:%M} UTC"),
        ("Remarks of the reader", words.listed(list(row["flags"] or ())) or "none"),
    )


def _verdict(reasons: Sequence[str], reason: Reason) -> str:
    return NOT_KEPT if reason.value in reasons else KEPT


def _rules(row: dict[str, Any], criteria: CriteriaSet) -> list[RuleRow]:
    reasons = row["reasons"] or ()
    rule = criteria.stiffness_rule(row["technique"])
    found = _stiffness_rules(row, rule, reasons) if rule else []
    attenuation = criteria.attenuation_rule(row["technique"])
    if attenuation:
        word = "up to" if attenuation.is_limit_allowed else "below"
        asks = f"Attenuation IQR {word} {attenuation.max_iqr_db_m:.0f} dB/m"
        found.append(RuleRow(asks, _attenuation(row), _attenuation_verdict(row)))
    return found + _preparation_rules(row, criteria, reasons)


def _stiffness_rules(
    row: dict[str, Any], rule: StiffnessRule, reasons: Sequence[str]
) -> list[RuleRow]:
    n_valid = "not recorded" if row["n_valid"] is None else words.whole(row["n_valid"])
    none_or_few = (Reason.NO_VALID_MEASUREMENT.value, Reason.TOO_FEW_VALID.value)
    few = any(one in reasons for one in none_or_few)
    is_in_kpa = row["stiffness_unit"] != "m/s"
    share = rule.max_ratio_kpa_share if is_in_kpa else rule.max_ratio_m_s_share
    word = "at most" if rule.is_limit_allowed else "below"
    unit = "kPa" if is_in_kpa else "m/s"
    asks = f"IQR/median {word} {words.percent(share)} (measured in {unit})"
    if rule.ratio_from_kpa is not None:
        asks += f", from a median of {rule.ratio_from_kpa:g} kPa on"
    ratio = words.percent(row["ratio_share"]) if row["ratio_share"] is not None else "not known"
    spread = _verdict(reasons, Reason.SPREAD) if row["ratio_share"] is not None else "cannot tell"
    rows = [
        RuleRow(
            f"At least {rule.min_valid} valid measurements", n_valid, NOT_KEPT if few else KEPT
        ),
        RuleRow(asks, ratio, spread),
    ]
    if rule.min_success_share is not None:
        success = row["success_share"]
        found = words.percent(success) if success is not None else "not known"
        asks = f"At least {words.percent(rule.min_success_share)} of attempts valid"
        rows.append(RuleRow(asks, found, _verdict(reasons, Reason.SUCCESS_RATE)))
    return rows


def _attenuation(row: dict[str, Any]) -> str:
    iqr = row["attenuation_iqr_db_m"]
    return words.number(iqr, decimals=0, unit="dB/m") if iqr is not None else "not measured"


def _attenuation_verdict(row: dict[str, Any]) -> str:
    outcome = row["attenuation_outcome"]
    known = {
        AttenuationOutcome.RELIABLE.value: KEPT,
        AttenuationOutcome.UNRELIABLE.value: NOT_KEPT,
    }
    return known.get(outcome, outcome)


def _preparation_rules(
    row: dict[str, Any], criteria: CriteriaSet, reasons: Sequence[str]
) -> list[RuleRow]:
    rule = criteria.preparation
    hours, minutes = rule.min_fasting_hours, rule.min_rest_minutes
    steps = (
        (f"Fasting of at least {hours:g} h" if hours is not None else "", "fasting"),
        (f"Rest of at least {minutes:g} min" if minutes is not None else "", "rest"),
        ("Position as the protocol says" if rule.is_position_asked else "", "position"),
    )
    end = "" if rule.is_part_of_verdict else " (counted apart, not part of the verdict)"
    verdicts = {Kept.KEPT.value: KEPT, Kept.BREACH.value: NOT_KEPT}
    return [
        RuleRow(asks + end, row[name], verdicts.get(row[name], "cannot tell"))
        for asks, name in steps
        if asks
    ]


def _measures(published: Published, rows: pl.DataFrame) -> tuple[CountedBy, ...]:
    measures = [one for one in published.definitions.measures.values() if is_of_exams(one)]
    columns = [name for one in measures for name in (*one.numerator, *one.denominator)]
    (each,) = count_each(rows, columns).iter_rows(named=True)
    return tuple(
        CountedBy(one.id, one.title, any(each[name] > 0 for name in one.numerator))
        for one in measures
        if any(each[name] > 0 for name in one.denominator)
    )


def authorised_on_day(published: Published, exam_key: str, file: OperatorFile) -> str:
    """Whether an authorisation covered the exam on its day, with the one that did.

    Example: 'Authorised: 1. TE, any, from 2023-11-01.'
    """
    exams = published.frame("exams", exam_key=exam_key)
    if not file.authorisations and not file.trainings:
        return "No file was begun for this operator."
    outside = exams_outside(exams, [file])
    if outside.height:
        return words.as_sentence(f"not covered: {outside['why'][0]}")
    row = exams.row(0, named=True)
    covering = [
        one.words
        for one in file.authorisations
        if one.technique == row["technique"]
        and one.probe in (ANY_PROBE, row["probe"])
        and one.covers(row["exam_on"])
    ]
    return f"Authorised: {'; '.join(covering)}." if covering else "Not performed: none is needed."


def check_of_day(
    charts: dict[tuple[str, str, str], CheckChart], *, device_id: str, probe: str, day: date
) -> tuple[str, ...]:
    """The newest phantom check of the device up to the day, for each phantom, in words.

    Example: ('Phantom P1, 2026-10-05 (4 days before): within limits.',)
    """
    told = []
    for (device, of_probe, phantom), chart in sorted(charts.items()):
        if device != device_id or of_probe not in ("", probe):
            continue
        before = [one for one in chart.points if one.session.day <= day]
        if before:
            last = max(before, key=lambda one: (one.session.day, one.session.no))
            ago = words.counted((day - last.session.day).days, "day")
            why = f": {last.why}" if last.why else ""
            told.append(f"Phantom {phantom}, {last.session.day} ({ago} before): {last.state}{why}.")
        else:
            told.append(f"Phantom {phantom}: no check up to that day.")
    return tuple(told)
