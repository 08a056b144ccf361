"""The invented network's own record: documents, signals that were reviewed, signed statements.

Told by it: criteria sets are approved by two people and read at every site but the last; items of
the month's list that have ended were reviewed in the month after they came up, but for the last
site's; service is signed for at every second site, audit and management review for all.
"""

from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from pathlib import Path

import polars as pl

from qa.followup import reviews
from qa.followup.reviews import REVIEW
from qa.jobs.followup.archive import NetworkArchive
from qa.jobs.followup.demo_cases import demo_cases
from qa.jobs.followup.documents import DocumentDesk
from qa.jobs.followup.drafts import draft_of_definition, find_definition
from qa.jobs.followup.evidence import find_item, open_published
from qa.jobs.followup.opening import change_record, load_records, open_record
from qa.jobs.followup.record_desk import RecordDesk
from qa.model.definitions import InForce, Network
from qa.model.document_words import DocumentKind
from qa.model.months import add_months
from qa.model.permissions import Actor, Role
from qa.model.published import Published
from qa.stores.followup.store import FollowupStore
from qa.stores.settings import load_network

PROPOSER = Actor("demo-manager", "Invented QA manager", (Role.QA_MANAGER,))
APPROVER = Actor("demo-approver", "Invented second QA manager", (Role.QA_MANAGER,))
REASONS = (
    "Looked at with the site; the months after were as before (invented)",
    "One busy clinic explains it; nothing to change (invented)",
    "Discussed in the monthly meeting; watched on (invented)",
)
SERVICED_EVERY = 2

Deed = tuple[datetime, Callable[[], object]]
"""When somebody did something, and how it is done."""


def approve_demo(folder: Path, environ: Mapping[str, str], *, at: datetime) -> None:
    """Propose, approve and read the criteria sets of a demo's network.toml; what is there stays.

    Two invented people do it before the set's first day, since the rule of four eyes holds for the
    demo too.
    """
    network = load_network(folder)
    store = open_record(folder, environ=environ)
    try:
        known = {one.document_id for one in DocumentDesk(store, PROPOSER, at).documents()}
        for in_force in network.criteria:
            if in_force.id not in known:
                _approve(store, network, in_force)
    finally:
        store.close()


def _approve(store: FollowupStore, network: Network, in_force: InForce) -> None:
    kind, first = DocumentKind.CRITERIA, _noon(in_force.from_day)
    text, _ = find_definition(kind, in_force.id)
    draft = draft_of_definition(kind, text, where=in_force.id)
    DocumentDesk(store, PROPOSER, first - timedelta(days=20)).propose(
        draft, from_day=in_force.from_day, changes="First set of this invented network"
    )
    DocumentDesk(store, APPROVER, first - timedelta(days=12)).approve(draft.document_id)
    for site in network.sites[:-1]:
        lead = Actor(f"demo-lead-{site.id}", "Invented site lead", (Role.SITE_LEAD,), (site.id,))
        DocumentDesk(store, lead, first - timedelta(days=5)).confirm_reading(draft.document_id)


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def keep_demo_decisions(folder: Path, environ: Mapping[str, str], *, at: datetime) -> None:
    """Write what was decided over a demo's months, in the order of time; what is there stays.

    They are written after the first publication, since signals are not known before, but carry the
    days of the invented story: the trail's clock goes back once.
    """
    store = open_record(folder, environ=environ)
    try:
        with store.reading() as reading:
            if load_records(reading, REVIEW):
                return
        network, published = load_network(folder), open_published(folder)
        deeds = [
            *_reviewed(store, network, published),
            *_signed(folder, store, network),
            *demo_cases(folder, store, network, published, by=PROPOSER),
        ]
        for _, do in sorted((one for one in deeds if one[0] <= at), key=lambda one: one[0]):
            do()
    finally:
        store.close()


def _reviewed(store: FollowupStore, network: Network, published: Published) -> Iterator[Deed]:
    """Items that have left the list, but for those of the last site."""
    listed = published.frame("signals").filter(pl.col("rank") > 0).drop_nulls("item_id")
    newest = listed["month"].max()
    items = (
        listed.group_by("item_id")
        .agg(pl.col("month").min().alias("first"), pl.col("month").max().alias("last"))
        .filter(pl.col("last") < newest)
        .sort("first", "item_id")
    )
    left_out = network.sites[-1].id
    for number, (item_id, first, _) in enumerate(items.iter_rows()):
        item, site_id = find_item(published, item_id)
        at = _noon(add_months(first, 1) + timedelta(days=8)) + timedelta(minutes=number)
        if site_id != left_out:
            why = REASONS[number % len(REASONS)]
            decide = partial(reviews.dismiss, item=item, site_id=site_id, why=why)
            yield at, partial(_review, store, item.item_id, decide, at)


def _review(store: FollowupStore, item_id: str, decide: Callable, at: datetime) -> None:
    with store.writing() as writing:
        change_record(writing, REVIEW, item_id, decide, by=PROPOSER.user_id, at=at)


def _signed(folder: Path, store: FollowupStore, network: Network) -> Iterator[Deed]:
    """Service site by site; audit and management review for the whole network, each year."""
    first = min((one.from_day for one in network.criteria), default=date.min).year
    serviced = network.sites[1::SERVICED_EVERY]
    for year in range(first + 1, first + 5):
        january = date(year, 1, 1)
        plans: list[tuple[str, str | None, str, date]] = [
            ("REQ-020", None, "Audit by the plan, report 7 (invented)", date(year, 1, 15)),
            ("REQ-021", None, "Yearly review, minutes on file (invented)", date(year, 1, 22)),
        ]
        plans += [
            ("REQ-016", site.id, "Serviced, certificates on file (invented)", date(year, 1, 29))
            for site in serviced
        ]
        for requirement_id, site_id, words, day in plans:
            desk = RecordDesk(store, NetworkArchive(folder), PROPOSER, _noon(day))
            yield (
                _noon(day),
                partial(
                    desk.sign,
                    requirement_id,
                    site_id=site_id,
                    is_met=True,
                    words=words,
                    from_month=january,
                    until=date(year, 12, 31),
                ),
            )
