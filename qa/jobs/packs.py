"""Make packs and put them into the archive."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Protocol

from qa.jobs.followup.opening import open_record
from qa.jobs.pack_facts import FactsReader
from qa.model.errors import PackError, UserError
from qa.model.months import add_months, month_name
from qa.model.pack_request import PackKind, PackRequest
from qa.model.progress import Progress, show_nothing
from qa.model.published import Published
from qa.stores.pack_archive import Issue, archive_pack, list_issues
from qa.stores.snapshots import Snapshot, open_current
from qa.views.pack import RenderedPack, check_request
from qa.views.pack_facts import PackFacts


class Render(Protocol):
    """Draws one pack; reports.pack.render_pack is handed in by the command line."""

    def __call__(
        self,
        published: Published,
        request: PackRequest,
        *,
        number: int,
        facts: PackFacts | None = None,
    ) -> RenderedPack: ...


@dataclass(frozen=True)
class PacksReport:
    """PDFs made, and those of earlier runs that say the same and were kept."""

    made: tuple[Path, ...]
    kept: tuple[Path, ...]


def make_packs(
    folder: Path,
    *,
    month: date,
    site_id: str | None = None,
    render: Render,
    sheet: str = "A4",
    environ: Mapping[str, str] | None = None,
    progress: Progress = show_nothing,
) -> PacksReport:
    """Issue the month's site packs from the snapshot in force; see issue_packs.

    Args: site_id: only this site; None: all sites.
    """

    choose = choose_packs(PackKind.SITE, month=month, site_id=site_id, sheet=sheet)
    return issue_packs(folder, choose=choose, render=render, environ=environ, progress=progress)


Choose = Callable[[Published], Sequence[PackRequest]]


def choose_packs(
    kind: PackKind,
    *,
    month: date,
    site_id: str | None = None,
    unit_id: str | None = None,
    from_month: date | None = None,
    sheet: str = "A4",
) -> Choose:
    """Which packs of a kind a month has.

    Args:
        site_id: only this site; of a round, its copy, in which others have no names.
        unit_id: an operator or a round.
        from_month: of a record; None: eleven months before the month.
    Returns: a function that raises PackError where there is no such site or month.
    """

    def choose(published: Published) -> list[PackRequest]:
        network = published.network
        sites = [site_id] if site_id else [site.id for site in network.sites]
        check_request(published, site_id=sites[0], month=month)
        first = None
        if kind is PackKind.SITE:
            units = sites
        elif kind is PackKind.OPERATOR:
            units = [unit_id] if unit_id else _operators(published, month, sites)
        elif kind is PackKind.ROUND:
            units = [f"{unit_id}/{site_id}" if site_id else unit_id or ""]
        elif kind is PackKind.RECORD:
            units, first = [site_id or network.id], from_month or add_months(month, -11)
        else:
            units = [network.id]
        return [PackRequest(kind, one, month, first, sheet) for one in units]

    return choose


def _operators(published: Published, month: date, sites: Sequence[str]) -> list[str]:
    """Operators of network.toml with exams in the month at some sites."""
    counts = published.frame("monthly_counts", month=month, site_id=list(sites))
    known = {one.id for one in published.network.operators}
    return [one for one in counts["operator_id"].unique().sort().to_list() if one in known]


def issue_packs(
    folder: Path,
    *,
    choose: Choose,
    render: Render,
    environ: Mapping[str, str] | None = None,
    progress: Progress = show_nothing,
) -> PacksReport:
    """Issue some packs from the snapshot in force.

    A pack whose newest issue says the same, byte for byte, is not issued again; what has changed
    since gets the next number. One that fails does not stop the others.

    Args:
        folder: a network folder.
        choose: the packs, from the snapshot.
        render: draws one pack.
        environ: to open the record of decisions; None: packs are made without it.
    Raises: SnapshotError; PackError: wrong site or month, or packs that could not be made (after
        all others were).
    """
    snapshot = open_current(folder)
    try:
        chosen = choose(snapshot)
        reader = None
        if environ is not None:
            reader = FactsReader(open_record(folder, environ=environ), folder, snapshot)
        made: list[Path] = []
        kept: list[Path] = []
        failed: list[tuple[str, UserError]] = []
        for done, request in enumerate(chosen):
            progress(done, len(chosen), f"{request.unit_id} {month_name(request.month)}")
            try:
                issue, is_new = _issue(folder, snapshot, request, reader, render=render)
                (made if is_new else kept).append(issue.pdf_path)
            except UserError as problem:
                failed.append((request.unit_id, problem))
        progress(len(chosen), len(chosen), "packs")
    finally:
        snapshot.close()
    if failed:
        _fail(failed, n_made=len(made))
    return PacksReport(tuple(made), tuple(kept))


def _issue(
    folder: Path,
    snapshot: Snapshot,
    request: PackRequest,
    reader: FactsReader | None,
    *,
    render: Render,
) -> tuple[Issue, bool]:
    """The issue that says what the snapshot says, and whether it is new."""
    month, key = request.month, request.key
    facts = reader.read(request) if reader else None
    issues = list_issues(folder, month=month, site_id=key)
    number = 1
    if issues:
        newest = issues[-1]
        again = render(snapshot, request, number=newest.number, facts=facts)
        if (again.pdf, again.manifest) == (newest.read_pdf(), newest.read_manifest_bytes()):
            return newest, False
        number = newest.number + 1
    pack = render(snapshot, request, number=number, facts=facts)
    issue = archive_pack(
        folder, month=month, site_id=key, number=number, pdf=pack.pdf, manifest=pack.manifest
    )
    return issue, True


def _fail(failed: Sequence[tuple[str, UserError]], *, n_made: int) -> None:
    sites = ", ".join(site for site, _ in failed)
    first = failed[0][1]
    raise PackError(
        f"no pack of {sites} could be made: {first.message}",
        todo=f"{n_made} other packs were made and are kept. Mend this and run the command again",
        code="PCK-007",
    ) from first
