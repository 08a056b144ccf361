"""Exams in a table; each leads to its own page."""

from collections.abc import Sequence

from dash.development.base_component import Component

from dashboard.addresses import Page
from dashboard.components.basics import link
from dashboard.components.charts import MONTH
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.model.words import UnitKind
from qa.views.exam_list import is_of_exams
from qa.views.exams import ExamRow
from qa.views.shown import ChartView

KEY_LETTERS = 8


def exams_behind(
    context: Context,
    *,
    unit_kind: str,
    unit_id: str,
    site_id: str | None = None,
    measure_id: str | None = None,
    month: str | None = None,
    since: str | None = None,
    part: str | None = None,
) -> str:
    """Address of the exams behind a figure; "" where the reader may open none, or there are none.

    Args:
        site_id: only those at this site.
        month: None: the month shown. since: the first month of several.
    """
    measure = context.published.definitions.measures.get(measure_id or "")
    if Page.EXAMS not in context.pages or (measure and not is_of_exams(measure)):
        return ""
    unit = {} if unit_kind == UnitKind.NETWORK else {str(unit_kind): unit_id}
    unit |= {"site": site_id} if site_id else {}
    when = {"month": month} if month else {}
    return context.to(Page.EXAMS, **unit, **when, measure=measure_id, since=since, part=part)


def exams_of_chart(chart: ChartView, context: Context) -> str:
    """Address of the exams behind a point of a chart, with MONTH in the month's place."""
    return exams_behind(
        context,
        unit_kind=chart.unit_kind,
        unit_id=chart.unit_id,
        measure_id=chart.measure_id,
        month=MONTH,
    )


def exams_table(caption: str, rows: Sequence[ExamRow], context: Context) -> Component:
    """Exams as rows; by which key, day, who, with what, how it came out, and where it lies."""
    shown = [
        (
            link(row.exam_key[:KEY_LETTERS], context.to(Page.EXAM, exam=row.exam_key)),
            row.day_text,
            row.operator_name,
            row.device_id,
            row.probe,
            row.outcome,
            "–" if row.n_valid is None else row.n_valid,
            row.ratio_text,
            row.why if row.reasons else "–",
            row.place_text,
        )
        for row in rows
    ]
    return table(
        caption,
        (
            *("Exam", "Day", "Operator", "Device", "Probe", "Outcome"),
            *("Valid", "IQR/median", "Why", "Where"),
        ),
        shown,
        numeric=(6, 7),
    )
