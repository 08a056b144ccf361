"""The return sheet of a site: what it has to mend, row by row, to send back to it."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from qa.jobs.quarantine import find_waiting
from qa.stores.settings import load_network
from qa.stores.sheets import check_sheet_name, write_sheet
from qa.views.waiting import return_sheet


@dataclass(frozen=True)
class SheetReport:
    """n_lines: one for each reason of each row, and one for each refused file."""

    n_rows: int
    n_refused: int
    n_lines: int
    path: Path


def write_return_sheet(folder: Path, *, site_id: str, out: Path, at: datetime) -> SheetReport:
    """Write a site's sheet; it holds no identifier and no formula.

    Args:
        out: a name ending in .csv or .xlsx.
        at: now, UTC; stands in the workbook.
    Raises: ExportError, NetworkFolderError, WarehouseError, WrongUse (no such site).
    """
    check_sheet_name(out)
    waiting = find_waiting(folder, site_id=site_id)
    network = load_network(folder)
    site = network.site(site_id)
    assert site is not None  # find_waiting has refused it
    sheet = return_sheet(waiting.files)
    invented = " Invented demo data." if network.is_invented else ""
    when = f"{at:%Y-%m-%d %H:%M} UTC"
    write_sheet(
        out,
        headings=sheet.headings,
        rows=sheet.rows,
        title="To mend",
        notes=(
            f"{network.name}: what {site.name} has to mend, as on {when}.{invented}",
            "Each line is one thing that is wrong with one row of one file that you sent. Rows are "
            "counted from the first row under the headings, which is row 1.",
            "Mend it where the export is made and send the file again, whole or only these rows: "
            "rows that are known already are recognised and not counted twice.",
            "A name of a file in which a word was masked (x-…) is the file that you sent on about "
            "that day; its number is the beginning of the SHA-256 of its bytes.",
            "Identifiers and long texts are not shown here; look the row up in your own file.",
        ),
    )
    return SheetReport(waiting.n_rows, waiting.n_refused, len(sheet.rows), out)
