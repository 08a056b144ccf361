"""Read mail that came back, and keep what it says of packs."""

from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

from qa.followup.pack_records import PACK, PackRecord, tell_report
from qa.jobs.followup.opening import change_record, load_records
from qa.jobs.pack_messages import message_id
from qa.model.delivery import Delivery, Sent
from qa.model.errors import DeliveryError
from qa.readers.mail_reports import MAX_REPORT_BYTES, MailReport, read_report
from qa.stores.followup.store import FollowupStore


@dataclass(frozen=True)
class ReturnsReport:
    """What was new: pack, address and what was said. n_read: messages looked at."""

    n_read: int
    new: tuple[tuple[str, str, Sent, str], ...]


def read_returns(
    folder: Path, settings: Delivery, *, store: FollowupStore, by: str, at: datetime
) -> ReturnsReport:
    """Every message under the folder of returned mail; messages stay where they are.

    What is known already is not written again, so a folder can be read as often as wanted.

    Raises: DeliveryError DLV-012 when the folder is not there.
    """
    if not settings.returned:
        return ReturnsReport(0, ())
    where = folder / settings.returned
    if not where.is_dir():
        raise DeliveryError(
            "the folder of returned mail is not there",
            where=str(where),
            todo="Mend `returned` under [delivery]",
            code="DLV-012",
        )
    files = sorted(one for one in where.rglob("*") if one.is_file())
    reports = [report for path in files for report in read_report(_content(path))]
    with store.reading() as reading:
        packs = load_records(reading, PACK)
    by_id = {
        message_id(pack.pack_id, one.to, sender=settings.sender): (pack, one.to)
        for pack in packs
        for one in pack.sendings
    }
    new = [
        found
        for report in reports
        if report.message_id in by_id
        and (found := _keep(store, *by_id[report.message_id], report, by=by, at=at))
    ]
    return ReturnsReport(len(files), tuple(new))


def _content(path: Path) -> bytes:
    """Nothing of a file that is larger than any report, or cannot be read."""
    try:
        return path.read_bytes() if path.stat().st_size <= MAX_REPORT_BYTES else b""
    except OSError:
        return b""


def _keep(
    store: FollowupStore, pack: PackRecord, to: str, report: MailReport, *, by: str, at: datetime
) -> tuple[str, str, Sent, str] | None:
    """The Message-ID says which delivery is meant: an address may have been forwarded."""
    decide = partial(tell_report, to=to, state=report.state, why=report.why)
    with store.writing() as writing:
        after = change_record(writing, PACK, pack.pack_id, decide, by=by, at=at)
    before, now = pack.sending(to), after.sending(to)
    if now is None or before is None or after.n_events == pack.n_events:
        return None
    return pack.pack_id, to, now.state, now.why
