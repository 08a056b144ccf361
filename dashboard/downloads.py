"""What is on screen as CSV: the same address, the same view, raw numbers."""

import csv
import io
from collections.abc import Callable, Mapping
from typing import Any

from flask import Flask, Response, request

from dashboard.access import Access, note_by
from dashboard.addresses import NEWEST, Download
from dashboard.case_pages import MakeDesk
from dashboard.selection import Context, read_selection
from dashboard.sheets_of import OF_DECISIONS, SHEETS, WITH_DECISIONS
from dashboard.source import PublishedSource
from qa.jobs.users.uses import EXPORTED
from qa.model.errors import UserError
from qa.model.spreadsheets import safe_text
from qa.views.sheets import Cell, Sheet

__all__ = ["OF_DECISIONS", "SHEETS", "add_downloads", "csv_text", "download", "safe_cell"]
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
