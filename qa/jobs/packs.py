"""Make the site packs of a month and put them into the archive."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Protocol

from qa.model.errors import PackError, UserError
from qa.model.months import month_name
from qa.model.progress import Progress, show_nothing
from qa.model.published import Published
from qa.stores.pack_archive import Issue, archive_pack, list_issues
from qa.stores.snapshots import Snapshot, open_current
from qa.views.pack import RenderedPack, check_request


class Render(Protocol):
    """Draws one site's pack; reports.pack.render_site_pack is handed in by the command line."""

    def __call__(
        self, published: Published, *, site_id: str, month: date, number: int
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
    progress: Progress = show_nothing,
) -> PacksReport:
    """Issue the month's packs from the snapshot in force.

    A pack whose newest issue says the same, byte for byte, is not issued again; what has changed
    since gets the next number. One site that fails does not stop the others.

    Args:
        folder: a network folder.
        site_id: only this site; None: all sites.
        render: draws one pack.
    Raises: SnapshotError; PackError: wrong site or month, or packs that could not be made (after
        all others were).
    """
    snapshot = open_current(folder)
    try:
        chosen = [site_id] if site_id else [site.id for site in snapshot.network.sites]
        check_request(snapshot, site_id=chosen[0], month=month)
        made: list[Path] = []
        kept: list[Path] = []
        failed: list[tuple[str, UserError]] = []
        for done, site in enumerate(chosen):
            progress(done, len(chosen), f"{site} {month_name(month)}")
            try:
                issue, is_new = _issue(folder, snapshot, site=site, month=month, render=render)
                (made if is_new else kept).append(issue.pdf_path)
            except UserError as problem:
                failed.append((site, problem))
        progress(len(chosen), len(chosen), f"packs of {month_name(month)}")
    finally:
        snapshot.close()
    if failed:
        _fail(failed, n_made=len(made))
    return PacksReport(tuple(made), tuple(kept))


def _issue(
    folder: Path, snapshot: Snapshot, *, site: str, month: date, render: Render
) -> tuple[Issue, bool]:
    """The issue that says what the snapshot says, and whether it is new."""
    issues = list_issues(folder, month=month, site_id=site)
    number = 1
    if issues:
        newest = issues[-1]
        again = render(snapshot, site_id=site, month=month, number=newest.number)
        if (again.pdf, again.manifest) == (newest.read_pdf(), newest.read_manifest_bytes()):
            return newest, False
        number = newest.number + 1
    pack = render(snapshot, site_id=site, month=month, number=number)
    issue = archive_pack(
        folder, month=month, site_id=site, number=number, pdf=pack.pdf, manifest=pack.manifest
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
