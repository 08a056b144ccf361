"""Which sheet each download gives: the same address and the same view as the screen."""

from collections.abc import Callable
from typing import Any

from dashboard.addresses import Download
from dashboard.noted import noted
from dashboard.pages.devices import read_devices
from dashboard.pages.record import read_record
from dashboard.pages.rounds import read_rounds
from dashboard.selection import Context
from qa.model.words import UnitKind
from qa.views import sheets
from qa.views.agreement import agreement_sheet
from qa.views.chart import chart_view
from qa.views.check_chart import checks_sheet
from qa.views.drawn import CONTINUOUS_IDS, drawn_view
from qa.views.exam_list import exam_list_view
from qa.views.exams import exams_to_look_at
from qa.views.grades import grades_view
from qa.views.intake import intake_view, return_files
from qa.views.month import month_view
from qa.views.names import NETWORK_ID
from qa.views.operators import operator_view, operators_view
from qa.views.record import record_sheet
from qa.views.round_report import performance_sheet, round_sheet
from qa.views.sheets import Sheet
from qa.views.site import site_view
from qa.views.studies import studies_sheet
from qa.views.waiting import return_sheet


def _worklist(context: Context) -> Sheet:
    chosen = context.selection
    return sheets.worklist_sheet(month_view(context.published, month=chosen.month).items)


def _sites(context: Context) -> Sheet:
    chosen = context.selection
    return sheets.heat_sheet(month_view(context.published, month=chosen.month).heat)


def _chart(context: Context) -> Sheet:
    chosen = context.selection
    kind, unit = _unit(context)
    measures = context.published.definitions.measures
    view = chart_view(
        context.published,
        unit_kind=kind,
        unit_id=unit,
        measure_id=chosen.measure_id or min(measures),
        last_month=chosen.month,
        months=chosen.period,
    )
    (shown,) = noted(context, [view])
    return sheets.chart_sheet(shown)


def _drawn(context: Context) -> Sheet:
    """A measure drawn as chosen, or a continuous one (`series`)."""
    chosen = context.selection
    kind, unit = _unit(context)
    is_continuous = chosen.series in CONTINUOUS_IDS
    series = chosen.series if is_continuous else chosen.measure_id
    view = drawn_view(
        context.published,
        unit_kind=kind,
        unit_id=unit,
        series_id=series or min(context.published.definitions.measures),
        last_month=chosen.month,
        months=chosen.period,
        choice=chosen.drawn_spread if is_continuous else chosen.drawn,
    )
    return sheets.drawn_sheet(view, kind, unit)


def _unit(context: Context) -> tuple[str, str]:
    chosen = context.selection
    if chosen.operator_id:
        return UnitKind.OPERATOR.value, chosen.operator_id
    if chosen.site_id:
        return UnitKind.SITE.value, chosen.site_id
    return UnitKind.NETWORK.value, NETWORK_ID


def _charts(context: Context) -> Sheet:
    """All charts of the operator or site; without either, one measure at all sites."""
    chosen = context.selection
    period: dict[str, Any] = {"month": chosen.month, "months": chosen.period}
    if chosen.operator_id:
        person = operator_view(context.published, operator_id=chosen.operator_id, **period)
        return sheets.charts_sheet(noted(context, person.charts))
    if chosen.site_id:
        site = site_view(context.published, site_id=chosen.site_id, **period)
        return sheets.charts_sheet(noted(context, site.charts))
    network = month_view(context.published, measure_id=chosen.measure_id, **period)
    return sheets.charts_sheet(noted(context, network.multiples))


def _operators(context: Context) -> Sheet:
    chosen = context.selection
    view = operators_view(
        context.published,
        month=chosen.month,
        measure_id=chosen.measure_id,
        site_id=chosen.site_id,
    )
    return sheets.operators_sheet(view.rows, measure_id=view.measure.id)


def _grades(context: Context) -> Sheet:
    chosen = context.selection
    view = grades_view(
        context.published,
        month=chosen.month,
        table_id=chosen.table_id,
        site_id=chosen.site_id,
    )
    return sheets.grades_sheet(view.by_site)


def _exams(context: Context) -> Sheet:
    chosen = context.selection
    exams = context.published.frame("exams", site_id=chosen.site_id, month=chosen.month)
    return sheets.exams_sheet(exams_to_look_at(context.published, exams))


def _exam_list(context: Context) -> Sheet:
    view = exam_list_view(context.published, context.selection.exam_query, most=None)
    return sheets.exams_sheet(view.rows)


def _intake(context: Context) -> Sheet:
    chosen = context.selection
    view = intake_view(context.published, month=chosen.month, site_id=chosen.site_id)
    return sheets.intake_sheet(view.rows)


def _return_sheet(context: Context) -> Sheet:
    files = return_files(context.published, site_id=context.selection.site_id)
    return return_sheet(files)


def _record(context: Context) -> Sheet:
    """All months on screen; nothing where no record is kept."""
    record = read_record(context)
    return record_sheet(record.verdicts if record else [])


NOTHING = Sheet((), ())
"""Where nothing is kept that could be written."""


def _round(context: Context) -> Sheet:
    view = read_rounds(context)
    return round_sheet(view.report) if view and view.report else NOTHING


def _rounds(context: Context) -> Sheet:
    view = read_rounds(context)
    return performance_sheet(view.performance) if view else NOTHING


def _agreement(context: Context) -> Sheet:
    view = read_rounds(context)
    return agreement_sheet(view.agreement) if view else NOTHING


def _studies(context: Context) -> Sheet:
    view = read_rounds(context)
    return studies_sheet(view.studies) if view else NOTHING


def _checks(context: Context) -> Sheet:
    read = read_devices(context)
    if read is None:
        return NOTHING
    view, known = read
    return checks_sheet(known.charts, [one.key for one in view.series])


SHEETS: dict[Download, Callable[[Context], Sheet]] = {
    Download.WORKLIST: _worklist,
    Download.SITES: _sites,
    Download.CHART: _chart,
    Download.CHARTS: _charts,
    Download.DRAWN: _drawn,
    Download.OPERATORS: _operators,
    Download.GRADES: _grades,
    Download.EXAMS: _exams,
    Download.EXAM_LIST: _exam_list,
    Download.INTAKE: _intake,
    Download.RETURN_SHEET: _return_sheet,
    Download.RECORD: _record,
    Download.ROUND: _round,
    Download.ROUNDS: _rounds,
    Download.AGREEMENT: _agreement,
    Download.STUDIES: _studies,
    Download.CHECKS: _checks,
}
OF_DECISIONS = (
    Download.RECORD,
    Download.ROUND,
    Download.ROUNDS,
    Download.AGREEMENT,
    Download.STUDIES,
    Download.CHECKS,
)
"""Files that hold nothing but what the follow-up store keeps, or need it to be read."""
WITH_DECISIONS = (*OF_DECISIONS, Download.CHART, Download.CHARTS)
"""Files that say what people decided or wrote down, too."""
