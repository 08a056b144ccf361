"""Take issued packs and reminders to people, and keep what became of them."""

import hashlib
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from pathlib import Path

from qa.followup import pack_records as records
from qa.followup.pack_records import PACK, PackRecord
from qa.jobs.followup.opening import change_record, load_records
from qa.jobs.pack_messages import build_message, link_to_pack, mail_of_pack
from qa.jobs.pack_recipients import addresses_of_sites
from qa.jobs.reminder_delivery import mail_password
from qa.model.definitions import Network
from qa.model.delivery import Sent, Way
from qa.model.errors import DeliveryError, FollowupError
from qa.model.months import month_name
from qa.stores.followup.store import FollowupStore
from qa.stores.mail import MailServer, open_mail
from qa.stores.pack_archive import Issue, list_issues
from qa.stores.settings import load_network
from qa.stores.shared_folder import put_into_folder


@dataclass(frozen=True)
class DeliveryReport:
    """n_sent: new deliveries. n_before: those of earlier runs. failed: sentences."""

    n_sent: int
    n_before: int
    failed: tuple[str, ...]

    @property
    def lines(self) -> list[str]:
        before = f", {self.n_before} before" if self.n_before else ""
        return [f"{self.n_sent} deliveries made{before}.", *(f"  {one}" for one in self.failed)]


@dataclass(frozen=True)
class Courier:
    """What a delivery needs. mail: None where no server is set or it could not be reached."""

    folder: Path
    network: Network
    store: FollowupStore
    mail: MailServer | None
    by: str
    at: datetime


def deliver_packs(
    folder: Path,
    *,
    month: date,
    store: FollowupStore,
    by: str,
    at: datetime,
    environ: Mapping[str, str],
) -> DeliveryReport:
    """Deliver the newest issue of each site's month to everybody who has not got it.

    Who gets it: the accounts of the site's leads and the addresses under [delivery.to], by mail;
    and the shared folder. What was taken by the server is not sent again; what failed is tried
    again by the next run, unless the server refused it for good. A run that is killed between the
    server's answer and its record sends that one message twice, under the same Message-ID.

    Raises: NetworkFolderError, FollowupError.
    """
    network = load_network(folder)
    issues = {site.id: list_issues(folder, month=month, site_id=site.id) for site in network.sites}
    newest = {site_id: found[-1] for site_id, found in issues.items() if found}
    to = addresses_of_sites(network, store)
    failed: list[str] = []
    n_sent = n_before = 0
    with ExitStack() as stack:
        courier = Courier(folder, network, store, None, by, at)
        waiting = _waiting(store, newest, to)
        if network.delivery.has_mail and any(waiting.values()):
            try:
                courier = _with_mail(courier, environ, stack)
            except DeliveryError as problem:
                failed.append(problem.message)
        for site_id, issue in newest.items():
            try:
                new, before, problems = _deliver(courier, site_id, month, issue, to[site_id])
            except FollowupError as problem:
                new, before, problems = 0, 0, [problem.message]
            n_sent, n_before = n_sent + new, n_before + before
            failed += problems
    return DeliveryReport(n_sent, n_before, tuple(failed))


def _with_mail(courier: Courier, environ: Mapping[str, str], stack: ExitStack) -> Courier:
    """Raises: DeliveryError."""
    settings = courier.network.delivery
    password = mail_password(courier.folder, settings, environ)
    server = stack.enter_context(open_mail(settings, folder=courier.folder, password=password))
    return replace(courier, mail=server)


def _waiting(
    store: FollowupStore, newest: Mapping[str, Issue], to: Mapping[str, Sequence[str]]
) -> dict[str, list[str]]:
    """Addresses of each site that its newest issue has not gone to."""
    with store.reading() as reading:
        known = {one.pack_id: one for one in load_records(reading, PACK)}
    return {
        site_id: _open_of(known.get(issue.pdf_path.stem), to[site_id])
        for site_id, issue in newest.items()
    }


def _open_of(pack: PackRecord | None, addresses: Sequence[str]) -> list[str]:
    found = {one: pack.sending(one) for one in addresses} if pack else {}
    return [
        one for one in addresses if (state := found.get(one)) is None or state.state is Sent.WAITING
    ]


def _deliver(
    courier: Courier, site_id: str, month: date, issue: Issue, addresses: Sequence[str]
) -> tuple[int, int, list[str]]:
    """One site's pack: new deliveries, those of earlier runs, and what went wrong."""
    pdf = issue.read_pdf()
    pack = _change(
        courier,
        issue.pdf_path.stem,
        partial(
            records.issue,
            site_id=site_id,
            month=f"{month:%Y-%m}",
            number=issue.number,
            sha256=hashlib.sha256(pdf).hexdigest(),
        ),
    )
    settings = courier.network.delivery
    people = addresses if settings.has_mail else ()
    targets = [*([settings.folder] if settings.folder else []), *people]
    open_ones = _open_of(pack, targets)
    answers: list[tuple[str, str | None]] = []
    for to in open_ones:
        if to == settings.folder:
            answers.append((to, _share(courier, site_id, month, issue)))
        elif courier.mail:
            answers.append((to, _send(courier, site_id, month, issue, pdf, to)))
    site = courier.network.site(site_id)
    title = f"{site.name if site else site_id}, {month_name(month)}"
    problems = [f"{title}: {to}: {why}" for to, why in answers if why is not None]
    if not targets:
        problems.append(f"{title}: nobody to send it to (see [delivery] and accounts of leads)")
    n_sent = sum(why is None for _, why in answers)
    return n_sent, len(targets) - len(open_ones), problems


def _share(courier: Courier, site_id: str, month: date, issue: Issue) -> str | None:
    """Put one issue into the shared folder. Returns: what went wrong; None: nothing."""
    to = courier.network.delivery.folder
    change = partial(_change, courier, issue.pdf_path.stem)
    try:
        where = put_into_folder(courier.folder / to, issue, month=month, site_id=site_id)
    except DeliveryError as problem:
        why = problem.what
        change(partial(records.tell_failed, to=to, way=Way.FOLDER, why=why, is_final=False))
        return problem.message
    change(partial(records.tell_sent, to=to, way=Way.FOLDER, why=where))
    return None


def _send(
    courier: Courier, site_id: str, month: date, issue: Issue, pdf: bytes, address: str
) -> str | None:
    """Hand one message over and keep the answer. Returns: what went wrong; None: nothing."""
    assert courier.mail is not None
    settings = courier.network.delivery
    is_attached = settings.sends == "attachment"
    message = build_message(
        mail_of_pack(
            courier.network,
            issue,
            site_id=site_id,
            month=month,
            link=link_to_pack(courier.network, site_id, month, issue.number),
            is_attached=is_attached,
        ),
        sender=settings.sender,
        to=address,
        at=courier.at,
        about=issue.pdf_path.stem,
        attachment=(issue.pdf_path.name, pdf) if is_attached else None,
    )
    answer = courier.mail.send(message, to=address)
    change = partial(_change, courier, issue.pdf_path.stem)
    if answer.is_sent:
        why = f"{answer.words}, {message['Message-ID']}"
        change(partial(records.tell_sent, to=address, way=Way.MAIL, why=why))
        return None
    change(
        partial(
            records.tell_failed,
            to=address,
            way=Way.MAIL,
            why=answer.words,
            is_final=answer.is_final,
        )
    )
    return answer.words


def _change(courier: Courier, pack_id: str, decide: records.Decide) -> PackRecord:
    with courier.store.writing() as writing:
        return change_record(writing, PACK, pack_id, decide, by=courier.by, at=courier.at)
