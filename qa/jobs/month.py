"""A whole month unattended: read what came, refresh, make all packs, deliver."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl

from qa.jobs.delivery import AllDelivered, deliver_all
from qa.jobs.intake import run_intake
from qa.jobs.intake_report import IntakeReport
from qa.jobs.pack_issue import Render
from qa.jobs.packs import PacksReport, choose_packs, try_packs
from qa.jobs.refresh import RefreshReport, run_refresh
from qa.model.errors import MonthIncomplete, WrongUse
from qa.model.months import add_months, month_name
from qa.model.pack_request import PackKind
from qa.model.progress import Progress, show_nothing
from qa.stores.run_lock import only_run
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import open_warehouse
from qa.stores.warehouse_history import month_closes

BY = "refresh, by the stated rule"


@dataclass(frozen=True)
class MonthReport:
    """What a run did.

    Args:
        delivery: None: nothing was to be delivered.
        is_closed: somebody closed the month; until then what arrives gives new issues.
    """

    month: date
    intake: IntakeReport
    refresh: RefreshReport
    packs: PacksReport
    delivery: AllDelivered | None
    is_closed: bool

    @property
    def failed(self) -> list[str]:
        """Sentences: files that were refused, packs that were not made, what was not delivered."""
        return [
            *(problem.message for problem in self.intake.problems),
            *("a program error while reading a file" for _ in self.intake.faults),
            *(f"{one.unit_id}: {one.message}" for one in self.packs.failed),
            *(self.delivery.failed if self.delivery else ()),
        ]

    def raise_for_failed(self) -> None:
        """Raises: MonthIncomplete MON-003."""
        if self.failed:
            raise MonthIncomplete(
                f"{month_name(self.month)} is done but for {len(self.failed)} parts",
                expected="; ".join(self.failed[:3]) + (" …" if len(self.failed) > 3 else ""),
                todo="Mend them and run the command again; what is done is kept",
                code="MON-003",
            )


def run_month(
    folder: Path,
    *,
    month: date,
    key: bytes,
    render: Render,
    software_version: str,
    by: str,
    now: Callable[[], datetime],
    environ: Mapping[str, str],
    processes: int = 1,
    is_delivered: bool = True,
    progress_of: Callable[[str], Progress] = lambda title: show_nothing,
) -> MonthReport:
    """Do a month; run again it changes nothing, or goes on where it was stopped.

    Args:
        key: the pseudonym key.
        render: draws one pack; a function of a module.
        by: who has it done; stands in the record.
        now: tells the time, UTC. What is delivered is recorded at a later moment than that of the
            snapshot, so that it is not among what was known when the packs were made.
        is_delivered: False: packs are made and stay here.
        progress_of: gives what shows the progress of a step, by its title.
    Raises: WrongUse MON-002 when the month is not over; MonthIncomplete MON-001; whatever stops
        intake or refresh as a whole. What fails for single files, sites or addresses stands in
        the report.
    """
    network, at = load_network(folder), now()
    end = datetime.combine(add_months(month, 1), datetime.min.time(), UTC)
    if at < end:
        raise WrongUse(
            f"{month_name(month)} is not over",
            expected=f"a month before {month_name(at.date().replace(day=1))}",
            todo="Nothing was done",
            code="MON-002",
        )
    with only_run(folder):
        read = run_intake(
            folder, key=key, known_at=at, by=by, progress=progress_of("Reading exports")
        )
        refreshed = run_refresh(
            folder,
            at=at,
            by=BY,
            software_version=software_version,
            environ=environ,
            progress=progress_of("Judging and counting exams"),
        )
        packs = try_packs(
            folder,
            choose=choose_packs(PackKind.SITE, month=month),
            render=render,
            environ=environ,
            processes=processes,
            progress=progress_of("Making packs"),
        )
        settings = network.delivery
        delivery = None
        if is_delivered and (settings.has_mail or settings.folder):
            later = max(now(), at + timedelta(microseconds=1))
            delivery = deliver_all(folder, month=month, by=by, at=later, environ=environ)
    return MonthReport(month, read, refreshed, packs, delivery, _is_closed(folder, month))


def _is_closed(folder: Path, month: date) -> bool:
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        return not month_closes(warehouse).filter(pl.col("month") == month).is_empty()
