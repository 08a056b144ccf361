"""Everything that leaves for people: packs, reminders, and what came back."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from qa.jobs.followup.opening import open_record
from qa.jobs.pack_delivery import DeliveryReport, deliver_packs
from qa.jobs.pack_returns import ReturnsReport, read_returns
from qa.jobs.reminder_delivery import RemindersReport, deliver_reminders
from qa.model.errors import DeliveryError, PackError
from qa.model.months import parse_month
from qa.stores.pack_archive import months_with_packs
from qa.stores.settings import load_network


@dataclass(frozen=True)
class AllDelivered:
    """What went out and what came back. failed: sentences."""

    month: date
    packs: DeliveryReport
    reminders: RemindersReport
    returns: ReturnsReport
    failed: tuple[str, ...]

    @property
    def lines(self) -> list[str]:
        packs, reminders = self.packs, self.reminders
        before = f", {packs.n_before} before" if packs.n_before else ""
        back = [f"  {pack}: {to}: {state} ({why})" for pack, to, state, why in self.returns.new]
        return [
            f"{packs.n_sent} deliveries made{before}; {reminders.n_sent} reminders sent.",
            *back,
            *(f"  not delivered: {one}" for one in self.failed),
        ]

    def raise_for_failed(self) -> None:
        """Raises: DeliveryError DLV-020."""
        if self.failed:
            raise DeliveryError(
                f"{len(self.failed)} deliveries failed, see above",
                todo="The packs are in the archive. Run 'elastoqa deliver' once this is mended",
                code="DLV-020",
            )


def deliver_all(
    folder: Path, *, month: date | None, by: str, at: datetime, environ: Mapping[str, str]
) -> AllDelivered:
    """Packs of a month, reminders, returned mail; each is tried whatever befalls the others.

    Args: month: None: the newest with packs in the archive.
    Raises: NetworkFolderError, FollowupError; PackError PCK-032 when there is no pack to deliver.
    """
    chosen = month or _newest(folder)
    settings = load_network(folder).delivery
    store = open_record(folder, environ=environ)
    failed: list[str] = []
    returns, reminders = ReturnsReport(0, ()), RemindersReport(0, ())
    try:
        with _noting(failed):
            returns = read_returns(folder, settings, store=store, by=by, at=at)
        packs = deliver_packs(folder, month=chosen, store=store, by=by, at=at, environ=environ)
        with _noting(failed):
            reminders = deliver_reminders(folder, store=store, by=by, at=at, environ=environ)
    finally:
        store.close()
    failed += [*packs.failed, *reminders.failed]
    return AllDelivered(chosen, packs, reminders, returns, tuple(dict.fromkeys(failed)))


@contextmanager
def _noting(failed: list[str]) -> Iterator[None]:
    try:
        yield
    except DeliveryError as problem:
        failed.append(problem.message)


def _newest(folder: Path) -> date:
    months = months_with_packs(folder)
    if not months:
        raise PackError(
            "there is no pack to deliver",
            where=str(folder),
            todo="Run 'elastoqa packs --month YYYY-MM' or 'elastoqa month YYYY-MM' first",
            code="PCK-032",
        )
    return parse_month(months[-1])
