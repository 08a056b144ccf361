"""What is on screen as plain rows for a file: raw numbers, units in the headings."""

from collections.abc import Iterable
from dataclasses import dataclass

from qa.model.months import month_of
from qa.views.drawn import DrawnView
from qa.views.exams import ExamRow
from qa.views.heat import HeatRow
from qa.views.intake_rows import IntakeRow
from qa.views.operators import OperatorRow
from qa.views.shown import ChartView, GradeBar
from qa.views.worklist import WorkItem

Cell = str | int | float | bool | None


@dataclass(frozen=True)
class Sheet:
    """Headings and rows of one table; shares are 0 to 1, dates are ISO."""

    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def chart_sheet(view: ChartView) -> Sheet:
    headings = (
        *("unit_kind", "unit_id", "measure_id", "criteria_id", "month", "n_events", "n"),
        *("value_share", "lower_share", "upper_share", "centre_share", "lcl_share", "ucl_share"),
        *("phase", "rules", "state", "notes"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(view.unit_kind, view.unit_id, view.measure_id, point.criteria_id),
                *(point.month.isoformat(), point.n_events, point.n),
                *(point.value, point.lower, point.upper, point.centre, point.lcl, point.ucl),
                *(point.phase, " ".join(point.rules), point.state),
                " | ".join(one.text for one in view.notes if month_of(one.day) == point.month),
            )
            for point in view.points
        ),
    )


def drawn_sheet(view: DrawnView, unit_kind: str, unit_id: str) -> Sheet:
    """A chart drawn as chosen; numbers in the unit that the heading names."""
    unit = "share" if view.unit == "%" else view.unit.replace(" ", "_")
    headings = (
        *("unit_kind", "unit_id", "series_id", "chart", "day", "n"),
        *(f"value_{unit}", f"second_{unit}", f"centre_{unit}", f"lcl_{unit}", f"ucl_{unit}"),
        *("is_outside", "is_baseline", "is_removed", "rules"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(unit_kind, unit_id, view.series_id, view.kind.code),
                *(point.day.isoformat(), point.n),
                *(point.value, point.second, point.centre, point.lcl, point.ucl),
                *(point.is_outside, point.is_baseline, point.is_removed, " ".join(point.rules)),
            )
            for point in view.points
        ),
    )


def charts_sheet(views: Iterable[ChartView]) -> Sheet:
    """Several charts under one set of headings."""
    sheets = [chart_sheet(view) for view in views]
    headings = sheets[0].headings if sheets else ()
    return Sheet(headings, tuple(row for sheet in sheets for row in sheet.rows))


def worklist_sheet(items: Iterable[WorkItem]) -> Sheet:
    headings = (
        *("rank", "item_id", "signal_id", "unit_kind", "unit_id", "site_id", "measure_id"),
        *("opened", "since", "since_text", "finding", "evidence", "how_sure", "stake"),
        *("likely", "probably_not", "suggestion", "rules", "also"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(item.rank, item.item_id, item.signal_id, item.unit_kind, item.unit_id),
                *(item.site_id, item.measure_id, item.opened.isoformat()),
                *(item.since.isoformat(), item.since_text, item.finding, item.evidence),
                *(item.how_sure, item.stake_text, item.likely, item.probably_not),
                item.suggestion,
                *(" ".join(item.rules), "; ".join(item.also)),
            )
            for item in items
        ),
    )


def heat_sheet(rows: Iterable[HeatRow]) -> Sheet:
    headings = (
        *("unit_id", "name", "measure_id", "measure", "n_events", "n"),
        *("value_share", "lower_share", "upper_share", "state"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(row.unit_id, row.name, cell.measure_id, cell.short_title, cell.n_events, cell.n),
                *(cell.value, cell.lower, cell.upper, cell.word),
            )
            for row in rows
            for cell in row.cells
        ),
    )


def operators_sheet(rows: Iterable[OperatorRow], *, measure_id: str) -> Sheet:
    headings = (
        *("operator_id", "site_id", "site", "measure_id", "n_events", "n"),
        *("value_share", "lower_share", "upper_share", "expected_exams", "state"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(row.operator_id, row.site_id, row.site_name, measure_id, row.n_events, row.n),
                *(row.value, row.lower, row.upper, row.expected, row.state),
            )
            for row in rows
        ),
    )


def grades_sheet(bars: Iterable[GradeBar]) -> Sheet:
    headings = ("table_id", "unit", "band", "n_exams", "n", "share", "lower_share", "upper_share")
    return Sheet(
        headings,
        tuple(
            (bar.table_id, bar.label, label, k, bar.n, share, lower, upper)
            for bar in bars
            for label, k, share, lower, upper in zip(
                bar.band_labels, bar.counts, bar.shares, bar.lower, bar.upper, strict=bool(bar.n)
            )
        ),
    )


def exams_sheet(exams: Iterable[ExamRow]) -> Sheet:
    headings = (
        *("exam_key", "exam_on", "is_date_nominal", "operator_id", "device_id", "technique"),
        *("probe", "outcome", "n_valid", "iqr_median_share", "is_repeat", "reasons"),
        *("file", "row_no"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(exam.exam_key, exam.exam_on.isoformat(), exam.is_date_nominal),
                *(exam.operator_id, exam.device_id, exam.technique, exam.probe, exam.outcome),
                *(exam.n_valid, exam.ratio_share, exam.is_repeat, "; ".join(exam.reasons)),
                *(exam.file_name, exam.row_no),
            )
            for exam in exams
        ),
    )


def intake_sheet(rows: Iterable[IntakeRow]) -> Sheet:
    headings = (
        *("site_id", "site", "month", "state", "n_exams", "is_closed", "is_restated"),
        *("sentence", "n_waiting_now"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(row.site_id, row.name, cell.month.isoformat(), cell.state, cell.n_exams),
                *(cell.is_closed, cell.is_restated, cell.sentence, row.n_waiting),
            )
            for row in rows
            for cell in row.cells
        ),
    )
