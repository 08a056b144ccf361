"""The invented network's operators' files, and second readings of its newest month.

Planted: the first operator's refresher is overdue, the second may not use the large-patient probe,
the third has two observed exams and no authorisation; the last of the fourth site went on examining
between two authorisations, early in 2025; one reading of the first sample differs.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from qa.followup import keep_file
from qa.followup.competence import OPERATOR_FILE
from qa.jobs.followup.demo_record import PROPOSER
from qa.jobs.followup.evidence import open_published
from qa.jobs.followup.opening import change_record, load_records, open_record
from qa.jobs.followup.second_reading import ReadForm, SecondReadingDesk
from qa.model.competence_words import ANY_PROBE
from qa.model.definitions import Network, Operator
from qa.model.permissions import Actor, Role
from qa.model.published import Published
from qa.model.words import Outcome, Probe
from qa.stores.followup.store import FollowupStore
from qa.stores.settings import load_network

EXAMINER = "Invented examiner"
N_SAMPLES = 3
OVERDUE, NARROW, NEW = 0, 1, 2
LAPSED_SITE = 3
LAPSE = (date(2025, 1, 31), date(2025, 4, 14))
"""Last day of an authorisation, and first of the next."""
REFRESHED_EVERY = timedelta(days=350)


@dataclass(frozen=True)
class DemoDays:
    """When things happened before the newest month: all on or before `at`."""

    begun: date
    refreshed: date
    long_ago: date


def begin_demo_files(folder: Path, environ: Mapping[str, str], *, at: datetime) -> None:
    """Keep operators' files before a demo is published, as its figures count by them."""
    store = open_record(folder, environ=environ)
    try:
        keep_demo_files(store, load_network(folder), at=at)
    finally:
        store.close()


def keep_demo_people(folder: Path, environ: Mapping[str, str], *, at: datetime) -> None:
    """Keep second readings of a demo that is published; what is there stays."""
    network = load_network(folder)
    store = open_record(folder, environ=environ)
    try:
        read_demo_samples(store, network, open_published(folder), at=at)
    finally:
        store.close()


def keep_demo_files(store: FollowupStore, network: Network, *, at: datetime) -> None:
    """One file for each operator, in one transaction."""
    first = min((one.from_day for one in network.criteria), default=at.date())
    days = DemoDays(first, at.date() - timedelta(days=100), at.date() - timedelta(days=430))
    with store.writing() as writing:
        if load_records(writing, OPERATOR_FILE):
            return
        for number, person in enumerate(network.operators):
            for decide in _events(person, number, network, days, on=at.date()):
                change_record(writing, OPERATOR_FILE, person.id, decide, by=PROPOSER.user_id, at=at)


def _events(
    person: Operator, number: int, network: Network, days: DemoDays, *, on: date
) -> Iterator[partial]:
    where: dict[str, Any] = {"site_id": person.site}
    day = min(days.refreshed if number == NEW else days.begun, on)
    taught: dict[str, Any] = {**where, "given_by": EXAMINER, "on": on}
    yield partial(keep_file.add_training, **taught, day=day, words="Two-day course (invented)")
    needed = network.settings.observed_exams_needed
    for _ in range(needed - 1 if number == NEW else needed):
        yield partial(
            keep_file.add_observed,
            **where,
            day=day,
            observer=EXAMINER,
            is_satisfactory=True,
            words="",
            on=on,
        )
    if number == NEW:
        return
    refreshed = days.long_ago if number == OVERDUE else days.refreshed
    for refresher in _refreshers(days.begun, refreshed):
        yield partial(keep_file.add_refresher, **taught, day=refresher, words="Yearly (invented)")
    spans: list[tuple[date, date | None]] = [(days.begun, None)]
    if person.id == _lapsed(network) and days.begun < LAPSE[0] and LAPSE[1] < on:
        spans = [(days.begun, LAPSE[0]), (LAPSE[1], None)]
    for technique in _techniques(person, network):
        for first, last in spans:
            yield partial(
                keep_file.authorise,
                **where,
                technique=technique,
                probe=Probe.STANDARD.value if number == NARROW else ANY_PROBE,
                from_day=first,
                to_day=last,
                n_observed_needed=needed,
            )


def _refreshers(begun: date, newest: date) -> list[date]:
    """One a year from the first training on, the newest on its own day."""
    days = [newest]
    while begun < newest and days[0] - REFRESHED_EVERY > begun:
        days.insert(0, days[0] - REFRESHED_EVERY)
    return days


def _lapsed(network: Network) -> str:
    """The last operator of the fourth site; "" where there are fewer sites."""
    sites = [one.id for one in network.sites]
    own = [one.id for one in network.operators if [one.site] == sites[LAPSED_SITE:][:1]]
    return own[-1] if own else ""


def _techniques(person: Operator, network: Network) -> list[str]:
    """Those of the devices at the operator's sites."""
    found = {
        one
        for device in network.devices
        for one in device.techniques
        if set(device.sites) & set(person.sites)
    }
    return sorted(found)


def read_demo_samples(
    store: FollowupStore, network: Network, published: Published, *, at: datetime
) -> None:
    """Samples of the newest month of a few operators; the last exam of each still waits."""
    newest = published.frame("monthly_counts")["month"].max()
    manager = SecondReadingDesk(store, network, PROPOSER, at)
    if not isinstance(newest, date) or manager.samples():
        return
    for number, operator in enumerate(manager.to_draw(newest, published=published)[:N_SAMPLES]):
        sample = manager.draw(operator, newest, published=published, seed=f"demo {operator}")
        second = next((one.id for one in network.operators if one.id != operator), None)
        if second is None:
            return
        manager.assign(sample.sample_id, reader=second)
        forms = [
            ReadForm(one.code, one.first.outcome, one.first.stiffness_kpa)
            for one in sample.exams[:-1]
        ]
        if number == 0 and forms:
            is_failed = forms[0].outcome == Outcome.FAILED
            said = Outcome.RELIABLE if is_failed else Outcome.UNRELIABLE
            said = Outcome.INCOMPLETE if forms[0].outcome == said else said
            forms[0] = ReadForm(
                forms[0].code, said.value, forms[0].stiffness_kpa, words="Invented remark"
            )
        person = Actor(second, "Invented second reader", (Role.OPERATOR,), operator_id=second)
        SecondReadingDesk(store, network, person, at).read(forms)
