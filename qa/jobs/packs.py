"""Make packs and put them into the archive."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from qa.jobs.pack_choice import Choose, choose_packs
from qa.jobs.pack_issue import Render
from qa.jobs.pack_work import Failure, Made, PackJob, make_here, make_in_processes
from qa.model.errors import PackError
from qa.model.months import month_name
from qa.model.pack_request import PackKind, PackRequest
from qa.model.progress import Progress, show_nothing
from qa.stores.signing import load_signer
from qa.stores.snapshots import open_current

__all__ = ["PacksReport", "Render", "choose_packs", "issue_packs", "make_packs", "try_packs"]
FEW = 4
"""So many packs are made faster than a second process starts."""


@dataclass(frozen=True)
class PacksReport:
    """PDFs made, those of earlier runs that say the same and were kept, and what failed."""

    made: tuple[Path, ...]
    kept: tuple[Path, ...]
    failed: tuple[Failure, ...] = ()

    def raise_for_failed(self) -> None:
        """Raises: PackError PCK-007."""
        if not self.failed:
            return
        names = ", ".join(one.unit_id for one in self.failed)
        raise PackError(
            f"no pack of {names} could be made: {self.failed[0].message}",
            todo=f"{len(self.made)} other packs were made and are kept. Mend this and run the "
            "command again",
            code="PCK-007",
        )


def make_packs(
    folder: Path,
    *,
    month: date,
    site_id: str | None = None,
    render: Render,
    sheet: str = "A4",
    environ: Mapping[str, str] | None = None,
    reason: str = "",
    processes: int = 1,
    progress: Progress = show_nothing,
) -> PacksReport:
    """Issue the month's site packs from the snapshot in force; see issue_packs.

    Args: site_id: only this site; None: all sites.
    """
    return issue_packs(
        folder,
        choose=choose_packs(PackKind.SITE, month=month, site_id=site_id, sheet=sheet),
        render=render,
        environ=environ,
        reason=reason,
        processes=processes,
        progress=progress,
    )


def issue_packs(
    folder: Path,
    *,
    choose: Choose,
    render: Render,
    environ: Mapping[str, str] | None = None,
    reason: str = "",
    processes: int = 1,
    progress: Progress = show_nothing,
) -> PacksReport:
    """Issue some packs from the snapshot in force.

    A pack whose newest issue says the same is not issued again; what says something else gets the
    next number, with a reason and what changed. One that fails does not stop the others.

    Args:
        folder: a network folder.
        choose: the packs, from the snapshot.
        render: draws one pack; for several processes a function of a module.
        environ: to open the record of decisions; None: packs are made without it.
        reason: why a person wants new issues, also of packs that only look different; "": the
            reason is found by comparing manifests.
        processes: that make packs at the same time.
    Raises: SnapshotError; PackError: wrong site or month, or packs that could not be made (after
        all others were).
    """
    report = try_packs(
        folder,
        choose=choose,
        render=render,
        environ=environ,
        reason=reason,
        processes=processes,
        progress=progress,
    )
    report.raise_for_failed()
    return report


def try_packs(
    folder: Path,
    *,
    choose: Choose,
    render: Render,
    environ: Mapping[str, str] | None = None,
    reason: str = "",
    processes: int = 1,
    progress: Progress = show_nothing,
) -> PacksReport:
    """The same, but what failed stands in the report and raises nothing."""
    snapshot = open_current(folder)
    try:
        chosen = list(choose(snapshot))
        load_signer(folder, snapshot.network.signing, environ=environ or {})
        plain = dict(environ) if environ is not None else None
        job = PackJob(folder, snapshot.snapshot_id, render, plain, reason)
    finally:
        snapshot.close()
    is_few = processes < 2 or len(chosen) <= FEW
    found: dict[PackRequest, Made | Failure] = {}
    steps = make_here(job, chosen) if is_few else make_in_processes(job, chosen, processes)
    progress(0, len(chosen), "packs")
    for request, outcome in steps:
        found[request] = outcome
        progress(len(found), len(chosen), f"{request.unit_id} {month_name(request.month)}")
    outcomes = [found[one] for one in chosen]
    made = [one for one in outcomes if isinstance(one, Made)]
    return PacksReport(
        tuple(one.path for one in made if one.is_new),
        tuple(one.path for one in made if not one.is_new),
        tuple(one for one in outcomes if isinstance(one, Failure)),
    )
