"""What came in, what did not? Months of each site, rows that wait, refused files, newest files."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

from qa.intake.checks import SENTENCES
from qa.model.months import add_months, month_name
from qa.model.published import Published
from qa.model.words import IntakeState, UnitKind
from qa.views import words
from qa.views.chart import chart_view
from qa.views.intake_rows import NOT_KNOWN, IntakeRow, intake_rows, remarks
from qa.views.names import NETWORK_ID, site_name
from qa.views.shown import ChartView
from qa.views.waiting import WaitingFile, files_of_site, waiting_files

MONTHS_SHOWN = 12
FILES_SHOWN = 20
NO_SITE = "No site named"


@dataclass(frozen=True)
class WaitingReason:
    """Rows of one site that wait for one reason; a row counts under each of its reasons."""

    site_id: str | None
    site_name: str
    code: str
    sentence: str
    n_rows: int


@dataclass(frozen=True)
class FileRead:
    """One reading of a file, or one refusal."""

    name: str
    site_name: str
    read_at: datetime
    state: str
    profile_id: str
    n_rows: int
    n_accepted: int
    n_unchanged: int
    n_quarantined: int


@dataclass(frozen=True)
class IntakeView:
    """The Intake screen.

    rows: every site, or the chosen one. remarks: (site, month, sentence) of the cells that are not
    plain, newest month first. refused: files refused and not mended since. chart: the share of rows
    that wait, of the chosen site or the network; None where the snapshot does not have it.
    """

    month: date
    month_text: str
    site_id: str | None
    answer: str
    subline: str
    months: tuple[date, ...]
    closed: frozenset[date]
    rows: tuple[IntakeRow, ...]
    remarks: tuple[tuple[str, date, str], ...]
    n_waiting: int
    reasons: tuple[WaitingReason, ...]
    refused: tuple[WaitingFile, ...]
    newest: tuple[FileRead, ...]
    chart: ChartView | None


def intake_view(
    published: Published, *, month: date, site_id: str | None = None, months: int = 24
) -> IntakeView:
    """What came in up to a month; of one site where it is given.

    Args: months: length of the chart, the month included.
    Note: months are those up to `month`; what waits and which files were read is as published.
    """
    shown = tuple(add_months(month, back) for back in range(1 - MONTHS_SHOWN, 1))
    waiting = _waiting_rows(published, site_id)
    files = _files(published, site_id)
    refused = tuple(file for file in files if file.problem)
    rows = intake_rows(
        published,
        months=shown,
        n_waiting=Counter(waiting["site_id"].to_list()),
        site_id=site_id,
    )
    return IntakeView(
        month=month,
        month_text=month_name(month),
        site_id=site_id,
        answer=_answer(month, rows, waiting, len(refused), is_one=site_id is not None),
        subline=_subline(published, month),
        months=shown,
        closed=frozenset(cell.month for row in rows for cell in row.cells if cell.is_closed),
        rows=rows,
        remarks=remarks(rows),
        n_waiting=waiting.height,
        reasons=_reasons(published, waiting),
        refused=refused,
        newest=_newest(published, site_id),
        chart=_chart(published, month=month, site_id=site_id, months=months),
    )


def return_files(published: Published, *, site_id: str | None = None) -> tuple[WaitingFile, ...]:
    """Files with something to mend, of one site where it is given."""
    return _files(published, site_id)


def _files(published: Published, site_id: str | None) -> tuple[WaitingFile, ...]:
    found = waiting_files(published.frame("quarantined"), published.frame("files"))
    return files_of_site(found, site_id)


def _waiting_rows(published: Published, site_id: str | None) -> pl.DataFrame:
    only = {} if site_id is None else {"site_id": site_id}
    return published.frame("quarantined", **only).select("site_id", "codes")


def _reasons(published: Published, waiting: pl.DataFrame) -> tuple[WaitingReason, ...]:
    """The site with most rows first, and in it the reason with most rows first."""
    n_of_site = Counter(waiting["site_id"].to_list())
    counts = Counter(
        (site, code) for site, codes in waiting.iter_rows() for code in dict.fromkeys(codes)
    )
    found = [
        WaitingReason(
            site,
            site_name(published.network, site) if site else NO_SITE,
            code,
            SENTENCES.get(code, "See Methods."),
            n,
        )
        for (site, code), n in counts.items()
    ]
    order = {site: (-n_of_site[site], site or "") for site in n_of_site}
    return tuple(sorted(found, key=lambda one: (order[one.site_id], -one.n_rows, one.code)))


def _newest(published: Published, site_id: str | None) -> tuple[FileRead, ...]:
    """Of files read at one time, the sites take turns, each with its last name first."""
    only = {} if site_id is None else {"site_id": site_id}
    in_site = pl.col("name").rank("ordinal", descending=True).over("site_id", "known_at")
    files = (
        published.frame("files", **only)
        .with_columns(turn=in_site)
        .sort(["known_at", "turn", "site_id"], descending=[True, False, False])
    )
    return tuple(
        FileRead(
            name=row["name"],
            site_name=site_name(published.network, row["site_id"]) if row["site_id"] else NO_SITE,
            read_at=row["known_at"],
            state=row["state"],
            profile_id=row["profile_id"] or "",
            **{name: row[name] for name in FileRead.__dataclass_fields__ if name[:2] == "n_"},
        )
        for row in files.head(FILES_SHOWN).iter_rows(named=True)
    )


def _chart(
    published: Published, *, month: date, site_id: str | None, months: int
) -> ChartView | None:
    measures = published.definitions.measures.values()
    measure = next((one for one in measures if one.key == "quarantined"), None)
    if measure is None:
        return None
    return chart_view(
        published,
        unit_kind=(UnitKind.SITE if site_id else UnitKind.NETWORK).value,
        unit_id=site_id or NETWORK_ID,
        measure_id=measure.id,
        last_month=month,
        months=months,
    )


_STATE_PHRASES: dict[str, str] = {
    IntakeState.THIN: "suddenly thin from",
    IntakeState.PARTIAL: "partial from",
    IntakeState.LATE: "late from",
    IntakeState.NOT_DUE: "not due yet from",
    IntakeState.RUNNING: "still running at",
    NOT_KNOWN: "not known of",
}


def _answer(
    month: date, rows: Sequence[IntakeRow], waiting: pl.DataFrame, n_refused: int, *, is_one: bool
) -> str:
    """Example: 'October 2026 is in from eleven of twelve sites and late from one; 14 rows at one
    site wait.'
    """
    parts = [_one_site(rows[0])] if is_one and rows else [_all_sites(month, rows)]
    n = waiting.height
    where = "" if is_one else f" at {words.counted_word(waiting['site_id'].n_unique(), 'site')}"
    parts.append(f"{words.counted(n, 'row')}{where} wait{'s' * (n == 1)}" if n else "no row waits")
    if n_refused:
        verb = "is" if n_refused == 1 else "are"
        parts.append(f"{words.counted_word(n_refused, 'file')} {verb} refused")
    return words.as_sentence("; ".join(parts))


def _one_site(row: IntakeRow) -> str:
    if not row.last.sentence:
        return f"{row.name}: nothing is known of {month_name(row.last.month)}"
    return f"{row.name}: {row.last.sentence.rstrip('.')}"


def _all_sites(month: date, rows: Sequence[IntakeRow]) -> str:
    states = Counter(row.last.state for row in rows)
    parts = [f"in from {words.share_of(states[IntakeState.IN], len(rows), 'site')}"]
    parts += [
        f"{phrase} {words.number_word(states[state])}"
        for state, phrase in _STATE_PHRASES.items()
        if states[state]
    ]
    return f"{month_name(month)} is {words.listed(parts)}"


def _subline(published: Published, month: date) -> str:
    exams = published.frame("intake_months", month=month)["n_exams"].sum()
    parts = [
        f"{words.counted(int(exams), 'exam')} of {month_name(month)} in all sites",
        f"as published {published.published_at:%Y-%m-%d %H:%M} UTC",
    ]
    if published.network.is_invented:
        parts.append("invented demo data")
    return " · ".join(parts)
