"""Send what waits in the queue of reminders: one message for each person."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from qa.jobs.followup.reminders import list_reminders, mark_reminders_sent, queue_reminders
from qa.jobs.pack_messages import build_message, link_to_cases
from qa.jobs.pack_recipients import address_of_person
from qa.model.delivery import Delivery
from qa.model.errors import DeliveryError
from qa.stores.followup.reminders import Reminder
from qa.stores.followup.store import FollowupStore
from qa.stores.mail import open_mail
from qa.stores.secret_files import read_secret
from qa.stores.settings import load_network
from qa.views.pack_mail import reminder_mail

VARIABLE = "ELASTOQA_SMTP_PASSWORD"


@dataclass(frozen=True)
class RemindersReport:
    """n_sent: reminders (not messages). failed: sentences; those reminders still wait."""

    n_sent: int
    failed: tuple[str, ...]


def deliver_reminders(
    folder: Path, *, store: FollowupStore, by: str, at: datetime, environ: Mapping[str, str]
) -> RemindersReport:
    """Queue what is overdue now, and send all that waits; sent ones are marked.

    Without a mail server nothing is sent and nothing fails: the queue is kept.

    Raises: NetworkFolderError, DeliveryError DLV-001 to DLV-004.
    """
    network = load_network(folder)
    queue_reminders(store, at=at, by=by)
    settings, waiting = network.delivery, list_reminders(store)
    if not settings.has_mail or not waiting:
        return RemindersReport(0, ())
    by_person: dict[str, list[Reminder]] = {}
    for one in waiting:
        by_person.setdefault(one.for_user, []).append(one)
    password = mail_password(folder, settings, environ)
    failed: list[str] = []
    n_sent = 0
    with open_mail(settings, folder=folder, password=password) as server:
        for person, theirs in by_person.items():
            address = address_of_person(store, person)
            if not address:
                wait = "reminder waits" if len(theirs) == 1 else "reminders wait"
                failed.append(f"{person}: {len(theirs)} {wait}, no address is known")
                continue
            mail = reminder_mail(
                network,
                lines=[(one.what, one.due_on) for one in theirs],
                link=link_to_cases(network),
            )
            about = "reminder-" + theirs[0].reminder_id
            message = build_message(mail, sender=settings.sender, to=address, at=at, about=about)
            answer = server.send(message, to=address)
            if answer.is_sent:
                ids = [one.reminder_id for one in theirs]
                n_sent += mark_reminders_sent(store, ids, at=at, by=by)
            else:
                failed.append(f"{person}: {answer.words}")
    return RemindersReport(n_sent, tuple(failed))


def mail_password(folder: Path, settings: Delivery, environ: Mapping[str, str]) -> str:
    """Raises: DeliveryError DLV-004."""
    return read_secret(
        folder,
        file=settings.password_file,
        variable=VARIABLE,
        key="[delivery] password_file",
        environ=environ,
        error=DeliveryError,
        code="DLV-004",
    )
