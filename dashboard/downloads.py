"""What is on screen as CSV: the same address, the same view, raw numbers."""

import csv
import io
from collections.abc import Callable, Mapping
from typing import Any

from flask import Flask, Response, request

from dashboard.access import Access, note_by
from dashboard.addresses import NEWEST, Download
from dashboard.case_pages import MakeDesk
from dashboard.noted import noted
from dashboard.pages.devices import read_devices
from dashboard.pages.record import read_record
from dashboard.pages.rounds import read_rounds
from dashboard.selection import Context, read_selection
from dashboard.source import PublishedSource
from qa.jobs.users.uses import EXPORTED
from qa.model.errors import UserError
from qa.model.spreadsheets import safe_text
from qa.model.words import UnitKind
from qa.views import sheets
from qa.views.agreement import agreement_sheet
from qa.views.chart import chart_view
from qa.views.check_chart import checks_sheet
from qa.views.exam_list import exam_list_view
from qa.views.exams import exams_to_look_at
from qa.views.grades import grades_view
from qa.views.intake import intake_view, return_files
from qa.views.month import month_view
from qa.views.names import NETWORK_ID
from qa.views.operators import operator_view, operators_view
from qa.views.record import record_sheet
from qa.views.round_report import performance_sheet, round_sheet
from qa.views.sheets import Cell, Sheet
from qa.views.site import site_view
from qa.views.studies import studies_sheet
from qa.views.waiting import return_sheet

SNAPSHOT_HEADER = "X-Snapshot"
"""Says from which snapshot a file was made."""
BYTE_ORDER_MARK = "\ufeff"
"""Tells spreadsheet programs that a file for a site is UTF-8."""


def safe_cell(value: Cell) -> Cell:
    """Text that a spreadsheet would run as a formula gets an apostrophe; numbers stay numbers.

    Which text that is: qa/model/spreadsheets.py.
    """
    return safe_text(value) if isinstance(value, str) else value


def csv_text(sheet: Sheet) -> str:
    """A sheet as CSV with a comma, lines ended by \\r\\n, empty cells for what is not known."""
    target = io.StringIO()
    writer = csv.writer(target)
    writer.writerow(sheet.headings)
    writer.writerows([safe_cell(cell) for cell in row] for row in sheet.rows)
    return target.getvalue()


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


def add_downloads(
    server: Flask,
    source: PublishedSource,
    *,
    prefix: str,
    access: Access | None = None,
    make_desk: MakeDesk | None = None,
) -> None:
    """One route for each of SHEETS. An unknown value in the query is an error, not a guess."""
    server.add_url_rule(
        prefix.rstrip("/") + NEWEST,
        "published",
        lambda: Response(_newest(source), mimetype="text/plain"),
    )
    for where in SHEETS:
        server.add_url_rule(
            prefix.rstrip("/") + where.value,
            f"download-{where.name}",
            _route(where, source, access, make_desk),
        )


def _newest(source: PublishedSource) -> str:
    """Id of the snapshot in force; "" where nothing is published."""
    try:
        return source().snapshot_id
    except UserError:
        return ""


def _route(
    where: Download,
    source: PublishedSource,
    access: Access | None,
    make_desk: MakeDesk | None,
) -> Callable[[], Response]:
    def answer() -> Response:
        found = download(where, source, request.args, make_desk=make_desk)
        if found.status_code == 200:
            words = f"{where.value}?{request.query_string.decode(errors='replace')}"
            note_by(access, EXPORTED, words, snapshot_id=found.headers[SNAPSHOT_HEADER])
        return found

    return answer


def download(
    where: Download,
    source: PublishedSource,
    query: Mapping[str, Any],
    *,
    make_desk: MakeDesk | None = None,
) -> Response:
    """Args: source: gives what the reader may see. make_desk: decisions, as far as they may."""
    try:
        published = source()
    except UserError as error:
        return Response(error.message + "\n", status=404, mimetype="text/plain")
    selection = read_selection(published, query)
    if selection is None or selection.problems:
        said = selection.problems if selection else ("Nothing is published yet.",)
        return Response("\n".join(said) + "\n", status=404, mimetype="text/plain")
    desk = make_desk() if make_desk and where in WITH_DECISIONS else None
    text = csv_text(SHEETS[where](Context(published, selection, desk=desk)))
    if where is Download.RETURN_SHEET:
        text = BYTE_ORDER_MARK + text
    name = f"{where.name.lower().replace('_', '-')}-{selection.month:%Y-%m}.csv"
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "no-store",
        SNAPSHOT_HEADER: published.snapshot_id,
    }
    return Response(text, mimetype="text/csv", headers=headers)
