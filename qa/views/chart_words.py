"""Sentences of a control chart: why it is drawn so, its baseline, its target, small numbers."""

from collections.abc import Sequence
from datetime import date
from itertools import pairwise

import polars as pl

from qa.charts.baseline import FEWEST_MONTHS
from qa.charts.rules import CHART_RULES
from qa.charts.run_length import RECENT, count_call_rate
from qa.model.months import months_between, short_month_name
from qa.model.words import Phase, TargetVerdict
from qa.views import words
from qa.views.baselines import removed_words
from qa.views.shown import ChartPoint

WHY_SHARE = (
    "A share of {noun}s per month is drawn as a p-chart. Its limits step with the number of "
    "{noun}s."
)
HOW_LIMITS: dict[str, str] = {
    "three sigma": "three standard deviations where at least five {noun}s are expected on each "
    "side",
    "exact binomial": "exact binomial limits where the numbers are small",
}


NEW_BASELINE, OTHER_DEVICES = "new baseline", "other devices"
POOLED_MONTHS = 3


def why_chart(rows: pl.DataFrame, baselines: pl.DataFrame, noun: str) -> str:
    """Why this chart, how its limits are made, and how often it calls by chance.

    Args: rows: CHART_POINTS of the chart. baselines: BASELINES. noun: what a point counts.
    """
    methods = [
        sentence.format(noun=noun)
        for name, sentence in HOW_LIMITS.items()
        if name in rows["limit_method"].drop_nulls().to_list()
    ]
    parts = [WHY_SHARE.format(noun=noun)]
    if methods:
        parts.append(f"Limits: {words.listed(methods)}; wider after a short baseline.")
    parts += _run_length(rows, baselines)
    if rows.filter(pl.col("baseline_from") == "network").height:
        parts.append("The unit has no baseline of its own yet; the network's is used.")
    return " ".join(parts)


def _run_length(rows: pl.DataFrame, baselines: pl.DataFrame) -> list[str]:
    watched = rows.filter(
        pl.col("phase") == Phase.MONITORING, pl.col("n") > 0, pl.col("ucl").is_not_null()
    )
    if watched.is_empty():
        return []
    last = watched.filter(pl.col("baseline_id") == watched["baseline_id"][-1]).tail(RECENT)
    known = baselines.filter(pl.col("baseline_id") == last["baseline_id"][0])
    if known.is_empty():
        return []
    columns = {name: last[name].to_numpy() for name in ("n", "lcl", "ucl", "centre")}
    rate = count_call_rate(
        columns["n"].astype(float),
        columns["lcl"],
        columns["ucl"],
        centre=columns["centre"],
        n_baseline=float(known["n"][0]),
    )
    if not rate > 0:
        return ["With these numbers chance alone never lies outside."]
    return [
        f"With these numbers and this baseline a month lies outside by chance once in about "
        f"{words.whole(1 / rate)} months (by the book, all known: 370)."
    ]


def baseline_text(rows: pl.DataFrame, baselines: pl.DataFrame, noun: str) -> str:
    """Names the baseline in force for the last point, and what weakens it."""
    known = rows.filter(pl.col("baseline_id").is_not_null())
    if known.is_empty():
        return "No baseline yet."
    last = known.row(-1, named=True)
    row = _row_of(last["baseline_id"], baselines)
    if row is None:
        return f"Baseline {words.percent(last['centre'])}."
    whose = "Network's baseline" if last["baseline_from"] == "network" else "Baseline"
    text = (
        f"{whose} {short_month_name(row['from_month'])} to {short_month_name(row['to_month'])}: "
        f"{words.percent(row['centre'])} of {words.counted(row['n'], noun)}."
    )
    return " ".join([text, *_notes(row)])


def baseline_note(rows: pl.DataFrame, baselines: pl.DataFrame) -> str:
    """What a reader has to know of the last point's baseline; "" where nothing is."""
    known = rows["baseline_id"].drop_nulls()
    row = _row_of(known[-1], baselines) if len(known) else None
    return " ".join(_notes(row)) if row else ""


def _row_of(baseline_id: str, baselines: pl.DataFrame) -> dict | None:
    found = baselines.filter(pl.col("baseline_id") == baseline_id)
    return found.row(0, named=True) if found.height else None


def _notes(row: dict) -> list[str]:
    notes = []
    if row["n_months"] < FEWEST_MONTHS:
        notes.append(
            f"Only {words.counted_word(row['n_months'], 'month')} stand behind it, fewer than "
            f"{words.number_word(FEWEST_MONTHS)}: its limits are hardly known."
        )
    taken = removed_words(row["removed_months"])
    if taken:
        notes.append(taken)
    if row["is_unsteady"]:
        notes.append(
            "More than a quarter of its months lie outside their own limits: it has no one level."
        )
    if (row["version_no"] or 1) > 1 and row["judges_from"] == row["from_month"]:
        notes.append(
            f"Set by {row['set_by']} on {row['set_at']:%Y-%m-%d}: "
            f"{words.as_sentence(row['reason'])}"
        )
    return notes


def off_target(point: ChartPoint) -> str:
    """Example: ", off target (10.0 %)"; "" where it is not, or nobody set one."""
    is_off = point.target_verdict in (TargetVerdict.OFF, TargetVerdict.STEADY_OFF)
    return f", off target ({words.percent(point.target)})" if is_off else ""


def pooled(points: Sequence[ChartPoint]) -> str:
    """The last three months together, where the last alone is too small: "; 3 of 14 in …"."""
    last = points[-1]
    near = [
        one
        for one in points
        if one.part == last.part and months_between(one.month, last.month) < POOLED_MONTHS
    ]
    n = sum(one.n for one in near)
    if n <= last.n:
        return ""
    events = sum(one.n_events for one in near)
    return f"; the last three months together: {words.whole(events)} of {words.whole(n)}"


def other_breaks(points: Sequence[ChartPoint]) -> tuple[tuple[date, str], ...]:
    """Months from which other devices, or a baseline that a person set, count."""
    found = []
    for earlier, later in pairwise(points):
        if earlier.criteria_id != later.criteria_id:
            continue
        if earlier.equipment_from != later.equipment_from:
            found.append((later.month, OTHER_DEVICES))
        elif earlier.baseline_id != later.baseline_id and later.phase == Phase.BASELINE:
            found.append((later.month, NEW_BASELINE))
    return tuple(found)


def rules_told(codes: Sequence[str]) -> list[str]:
    """Rules that fired, by their titles: ['outside the limits (RUL-001)']"""
    return [
        f"{words.lower_first(CHART_RULES[code].title)} ({code})" if code in CHART_RULES else code
        for code in codes
    ]
