"""Sentences beside a drawn chart: pooling, baselines, how often it calls by chance."""

from collections.abc import Sequence
from math import isfinite, isinf

import numpy as np

from qa.charts.kinds import ChartKind
from qa.charts.months_of import SeriesMonths
from qa.charts.sequence import MIN_EVENTS
from qa.views import words
from qa.views.baselines import baseline_words
from qa.views.drawn_choice import QUARTERS, rules_words
from qa.views.drawn_point import DrawnPoint
from qa.views.drawn_series import SeriesPart

UNITS: dict[str, str] = {
    "np": "exams",
    "u": "per exam",
    "u-prime": "per exam",
    "c": "measurements",
    "cusum": "evidence",
    "ra-cusum": "evidence",
    "vlad": "exams",
    "learning": "evidence",
    "g": "exams between",
    "t": "days between",
}

RECENT = 12
KNOWN_RUN = 370


def unit_of(kind: str, *, is_log: bool, own: str = "") -> str:
    """What the numbers of a chart are in. own: unit of a continuous measure, "" for its kind's."""
    if kind == "cusum" and (is_log or own):
        return "sigma, summed"
    if kind == "s":
        return "of logarithms" if is_log else own
    if own and kind != "c":
        return own
    return "%" if is_log else UNITS.get(kind, "%")


def pool_reason(series: SeriesMonths, *, min_n: int) -> str:
    """Why months are put together; "" where a typical month has exams enough.

    Args: min_n: fewest exams for a verdict on one point.
    """
    recent = series.n[-RECENT:]
    if not len(recent) or float(np.median(recent)) >= min_n:
        return ""
    return (
        f"A typical month has {words.counted(int(np.median(recent)), 'exam')}, fewer than the "
        f"{min_n} that a verdict needs: months are put together to quarters."
    )


def between_warning(kind: ChartKind, points: Sequence[DrawnPoint]) -> str:
    """Of charts event by event: why there are no limits; "" where there are."""
    if kind.code not in ("g", "t") or any(point.centre is not None for point in points):
        return ""
    return f"Fewer than {words.number_word(MIN_EVENTS)} events in the baseline: no limits yet."


def baseline_lines(parts: Sequence[SeriesPart], *, is_own: bool) -> tuple[str, ...]:
    """Each baseline in words, oldest first. is_own: False: the periods of another measure."""
    lines = []
    for part in parts:
        row = part.baseline
        if row is None:
            begun = " since the devices changed" if part.why == "devices" else " yet"
            lines.append(f"No baseline{begun}.")
        elif is_own:
            lines.append(f"Baseline {baseline_words(row)}")
        else:
            first, last = f"{row['from_month']:%Y-%m}", f"{row['to_month']:%Y-%m}"
            lines.append(f"Baseline: the months {first} to {last}; none is taken out.")
    return tuple(lines)


def run_length_words(length: float, *, kind: ChartKind, pool: str, rules: Sequence[str]) -> str:
    """How often the chart as drawn calls by chance, beside the textbook's figure."""
    unit = "events" if kind.code == "g" else "quarters" if pool == QUARTERS else "months"
    if isinf(length):
        return "As drawn it cannot call by chance."
    if not isfinite(length):
        return "How often it calls by chance is not known here."
    with_rules = f" with {rules_words(rules)}" if rules else ""
    text = (
        f"As drawn here{with_rules}, with these numbers and this baseline, it calls by chance once "
        f"in about {words.whole(length)} {unit}"
    )
    book = "" if kind.arl is None else f" (by the book, all known: {words.whole(kind.arl)})"
    return f"{text}{book}."
