"""A signal in words: what is so, what the rules saw, what to look at."""

from collections import defaultdict
from collections.abc import Callable
from datetime import date
from typing import Any

import polars as pl

from qa.charts.rules import (
    DRIFT,
    EIGHT_IN_A_ROW,
    FAR_OUTSIDE,
    FUNNEL,
    HALF_YEAR,
    OUTSIDE_LIMITS,
    QUARTER,
)
from qa.model.months import add_months, month_name, months_between
from qa.model.words import UnitKind
from qa.signals.advice import suggestion
from qa.signals.context import Context
from qa.signals.not_likely import probably_not
from qa.signals.sureness import how_sure
from qa.signals.wording import Wording
from qa.stats.intervals import newcombe_difference

Row = dict[str, Any]

_KINDS = {
    UnitKind.SITE.value: "sites",
    UnitKind.OPERATOR.value: "operators",
    UnitKind.DEVICE.value: "devices",
}


def word_signals(signals: pl.DataFrame, wording: Wording) -> pl.DataFrame:
    """Add finding, evidence, how_sure, probably_not and suggestion to each signal."""
    rows = signals.to_dicts()
    by_id = {row["signal_id"]: row for row in rows}
    faces: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if row["explained_by"]:
            faces[row["explained_by"]].append(row)
    texts = {
        "finding": [finding(row, wording) for row in rows],
        "evidence": [evidence(row) for row in rows],
        "how_sure": [_sure(row, wording) for row in rows],
        "probably_not": [
            probably_not(row, wording.contexts.get(row["signal_id"], Context())) for row in rows
        ],
        "suggestion": [
            suggestion(
                row,
                wording,
                lead=by_id.get(row["explained_by"]),
                faces=faces[row["signal_id"]],
            )
            for row in rows
        ],
    }
    return signals.with_columns(
        pl.Series(name, column, dtype=pl.String) for name, column in texts.items()
    )


def _sure(row: Row, wording: Wording) -> str:
    context = wording.contexts.get(row["signal_id"])
    if context is None:
        return ""
    return how_sure(row, context.own, n_charts=wording.n_charts.get(row["month"], 1))


def finding(row: Row, wording: Wording) -> str:
    """Example: 'Eider Point: unreliable exams rose from 4.8 to 13.9 % since July 2026'"""
    event = wording.measures[row["measure_id"]].event
    about, share, centre = f"{wording.name(row)}: {event}", row["value"], row["centre"]
    if not row["is_change"]:
        peers = f"over all {_KINDS[row['unit_kind']]}"
        if row["is_adjusted"]:
            peers = "expected of its patients"
        period = f"over {_months(row['since_month'], row['month'])} to {month_name(row['month'])}"
        return f"{about} {_percent(share)} % {period}, {_percent(centre)} % {peers}"
    since = "in" if row["since_month"] == row["month"] else "since"
    when = f"{since} {month_name(row['since_month'])}"
    if row["is_adjusted"]:
        return f"{about} {_percent(share)} % {when}, {_percent(centre)} % expected of its patients"
    if row["baseline_from"] == "network":
        return f"{about} {_percent(share)} % {when}, {_percent(centre)} % in the network"
    verb = "rose" if row["direction"] == "higher" else "fell"
    return f"{about} {verb} from {_percent(centre)} to {_percent(share)} % {when}"


def evidence(row: Row) -> str:
    """What each broken rule saw, and where the centre line comes from."""
    parts = [_silence(row), *(saw(row) for saw in _SAW)]
    if row["is_change"]:
        parts.append(_start(row))
        mix = ", adjusted for the patients examined" if row["is_adjusted"] else ""
        source = f"{_SOURCES[row['baseline_from']]}{mix}"
        parts.append(f"Expected: {_percent(row['centre'])} %, from {source}.")
    return " ".join(part for part in parts if part)


_SOURCES = {
    "own": "its own frozen baseline",
    "network": "the network's baseline, as it has none of its own yet",
    "before": "its own exams in the two years before",
}


def _silence(row: Row) -> str:
    """An item of a unit without exams speaks of an earlier month."""
    seen = row["last_seen_month"]
    if seen is None or seen == row["month"]:
        return ""
    return f"No exams of {month_name(row['month'])} have come; as of {month_name(seen)}."


def _start(row: Row) -> str:
    """Example: 'It may have begun from May to August 2026.'"""
    first, last = row["since_first"], row["since_last"]
    if first == last:
        return ""
    return (
        f"It began most likely in {month_name(row['since_month'])}, within {_period(first, last)}."
    )


def _saw_outside(row: Row) -> str:
    if OUTSIDE_LIMITS.code not in row["rules"]:
        return ""
    is_higher = row["direction"] == "higher"
    limit = row["ucl"] if is_higher else row["lcl"]
    where = "above the upper" if is_higher else "below the lower"
    counted = _counted(row["month_events"], row["month_n"])
    return (
        f"{month_name(_seen(row))}: {counted}, {where} limit of {_percent(limit)} % "
        f"({OUTSIDE_LIMITS.code})."
    )


def _saw_pooled(row: Row) -> str:
    seen = {
        rule.code: f"{_period(add_months(_seen(row), 1 - rule.n_months), _seen(row))}: "
        + _counted(row[f"{name}_n_events"], row[f"{name}_n"])
        for name, rule in (("quarter", QUARTER), ("half_year", HALF_YEAR))
        if rule.code in row["rules"]
    }
    if not seen:
        return ""
    many = "as many" if row["direction"] == "higher" else "as few"
    once = f"{round(1 / (QUARTER.tail or 1)):,}"
    return (
        f"{', and '.join(seen.values())}; chance alone gives {many} in fewer than one of "
        f"{once} such periods ({', '.join(seen)})."
    )


def _saw_drift(row: Row) -> str:
    if DRIFT.code not in row["rules"]:
        return ""
    since = _period(row["since_month"], _seen(row))
    if row["since_month"] == _seen(row):
        since = month_name(_seen(row))
    return (
        f"{since}: {_counted(row['n_events'], row['n'])}, where {row['expected']:.1f} were "
        f"expected; the evidence for a lasting change has reached "
        f"its limit of {row['evidence_limit']:.1f} ({DRIFT.code})."
    )


def _saw_far(row: Row) -> str:
    if FAR_OUTSIDE.code not in row["rules"]:
        return ""
    return f"So far beyond the limit that chance hardly ever does it ({FAR_OUTSIDE.code})."


def _saw_eight(row: Row) -> str:
    if EIGHT_IN_A_ROW.code not in row["rules"]:
        return ""
    side = "above" if row["direction"] == "higher" else "below"
    return f"At least eight months in a row lie {side} the centre line ({EIGHT_IN_A_ROW.code})."


def _saw_funnel(row: Row) -> str:
    if FUNNEL.code not in row["rules"]:
        return ""
    peers = f"the other {row['n_units'] - 1:,} {_KINDS[row['unit_kind']]}"
    if row["is_change"]:
        return (
            f"It also differs from {peers} by more than they differ among themselves "
            f"({FUNNEL.code})."
        )
    own, others = (row["n_events"], row["n"]), (row["others_events"], row["others_n"])
    ends = sorted(abs(float(end)) for end in newcombe_difference(*own, *others))
    gap = abs(own[0] / own[1] - others[0] / others[1])
    more = "more" if row["direction"] == "higher" else "fewer"
    return (
        f"{_counted(*own)}: {_percent(gap)} points {more} than {peers} together "
        f"({_percent(ends[0])} to {_percent(ends[1])}), outside the 99.8 % limits and beyond "
        f"the ordinary spread between them ({FUNNEL.code})."
    )


def _saw_made(row: Row) -> str:
    """A unit that stands for others without a rule of its own chart."""
    if not row["is_change"] or row["rules"]:
        return ""
    return (
        f"{_period(row['since_month'], _seen(row))}: {_counted(row['n_events'], row['n'])}, where "
        f"{row['expected']:.1f} were expected."
    )


_SAW: tuple[Callable[[Row], str], ...] = (
    _saw_made,
    _saw_drift,
    _saw_outside,
    _saw_far,
    _saw_pooled,
    _saw_eight,
    _saw_funnel,
)


def _seen(row: Row) -> date:
    """The month whose exams the signal speaks of."""
    return row["last_seen_month"] or row["month"]


def _percent(share: float) -> str:
    return f"{share * 100:.1f}"


def _counted(n_events: int, n: int) -> str:
    """Example: '7 of 46 exams (15.2 %)'"""
    return f"{n_events:,} of {n:,} {'exam' if n == 1 else 'exams'} ({_percent(n_events / n)} %)"


def _period(first: date, last: date) -> str:
    """Example: 'August to October 2026'; the first year is named where it differs."""
    start = month_name(first)
    if first.year == last.year:
        start = start.removesuffix(f" {first.year}")
    return f"{start} to {month_name(last)}"


def _months(first: date, last: date) -> str:
    """Example: '12 months'"""
    n = months_between(first, last) + 1
    return "one month" if n == 1 else f"{n} months"
