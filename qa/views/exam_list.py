"""Which exams are behind a figure? Those of a unit, a measure and some months, one by one."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.counts import count_each
from qa.model.definitions import Measure
from qa.model.months import iterate_months, month_name
from qa.model.published import Published
from qa.model.words import RepeatKind
from qa.views import words
from qa.views.exams import ExamRow, exam_rows
from qa.views.names import site_name, spoken_name

SHOWN = 100
COUNTED, ALL = "counted", "all"
"""Exams that the measure counts, or all that it is a share of."""


@dataclass(frozen=True)
class ExamQuery:
    """Which exams are asked for.

    Args:
        month: the last month. since: the first; the same for one month.
        measure_id: None: every exam started. part: COUNTED or ALL.
    """

    month: date
    since: date
    site_id: str | None = None
    operator_id: str | None = None
    device_id: str | None = None
    measure_id: str | None = None
    part: str = ALL

    @property
    def is_narrow(self) -> bool:
        """Something but the whole network over many months."""
        return self.since == self.month or bool(self.site_id or self.operator_id or self.device_id)


@dataclass(frozen=True)
class ExamListView:
    """Exams behind a figure.

    Args:
        n: all of them; rows: the first SHOWN by day. n_counted: what the measure counts of them.
        note: what of the query could not be followed; "" where all was.
    """

    answer: str
    subline: str
    rows: tuple[ExamRow, ...]
    n: int
    n_counted: int
    measure: Measure | None
    note: str = ""


def exam_list_view(
    published: Published, query: ExamQuery, *, most: int | None = SHOWN
) -> ExamListView:
    """Exams that the measure counts first, then the others, each the newest first.

    Args: most: how many rows; None: all.
    """
    note = ""
    if not query.is_narrow:
        note = "For more than one month choose a site, an operator or a device; shown is the month."
        query = ExamQuery(**{**query.__dict__, "since": query.month})
    measure = published.definitions.measures.get(query.measure_id or "")
    found = _exams(published, query)
    if measure is not None and is_of_exams(measure):
        found = _of_measure(found, measure)
    else:
        measure, found = None, found.with_columns(is_counted=pl.lit(value=False))
    n_counted = int(found["is_counted"].sum())
    n_all = found.height
    if measure is not None and query.part == COUNTED:
        found = found.filter("is_counted")
    order = ("is_counted", "exam_on", "exam_at", "exam_key")
    ordered = found.sort(*order, descending=[True, True, True, False])
    cut = ordered if most is None else ordered.head(most)
    return ExamListView(
        answer=_answer(published, query, measure, n_counted, n_all),
        subline=_subline(measure, query, found.height, cut.height),
        rows=exam_rows(published, cut),
        n=found.height,
        n_counted=n_counted,
        measure=measure,
        note=note,
    )


def is_of_exams(measure: Measure) -> bool:
    """Measures of rows of files have no exams behind them; those of grades never name one."""
    return "n_rows" not in measure.denominator and not measure.is_grade


def _exams(published: Published, query: ExamQuery) -> pl.DataFrame:
    asked = {
        "site_id": query.site_id,
        "operator_id": query.operator_id,
        "device_id": query.device_id,
    }
    equal = {name: value for name, value in asked.items() if value}
    months = list(iterate_months(query.since, query.month))
    exams = published.frame("exams", **equal, month=months)
    return exams.filter(pl.col("repeat_kind").ne_missing(RepeatKind.RESTART.value))


def _of_measure(exams: pl.DataFrame, measure: Measure) -> pl.DataFrame:
    """Exams in the denominator, and whether the numerator counts them."""
    columns = [*measure.numerator, *measure.denominator]
    each = count_each(exams, columns)
    in_all = pl.sum_horizontal(pl.col(list(measure.denominator))) > 0
    counted = pl.sum_horizontal(pl.col(list(measure.numerator))) > 0
    told = each.select("exam_key", in_all=in_all, is_counted=counted)
    return exams.join(told, on="exam_key").filter("in_all")


def _who(published: Published, query: ExamQuery) -> str:
    network = published.network
    parts = [
        spoken_name(network, "operator", query.operator_id) if query.operator_id else "",
        spoken_name(network, "device", query.device_id) if query.device_id else "",
        site_name(network, query.site_id) if query.site_id else "",
    ]
    return ", ".join(part for part in parts if part) or network.name


def _when(query: ExamQuery) -> str:
    if query.since == query.month:
        return month_name(query.month)
    return f"{month_name(query.since)} to {month_name(query.month)}"


def _answer(
    published: Published, query: ExamQuery, measure: Measure | None, n_counted: int, n: int
) -> str:
    """Example: 'Eider Point, October 2026: 14 of 188 exams count as unreliable exams.'"""
    head = f"{_who(published, query)}, {_when(query)}"
    if measure is None:
        return f"{head}: {words.counted(n, 'exam')}."
    title = words.lower_first(measure.title)
    verb = "counts" if n_counted == 1 else "count"
    return f"{head}: {n_counted} of {words.counted(n, 'exam')} {verb} for “{title}”."


def _subline(measure: Measure | None, query: ExamQuery, n: int, n_shown: int) -> str:
    if measure is None:
        which = "All exams that were started"
    elif query.part == COUNTED:
        which = f"Only those that count for {measure.id}"
    else:
        which = f"All that {measure.id} is a share of"
    first = "those that count first, " if measure and query.part != COUNTED else ""
    return f"{which}, {first}the newest first." + (
        f" Shown are {n_shown} of {words.whole(n)}; the file holds all." if n_shown < n else ""
    )
