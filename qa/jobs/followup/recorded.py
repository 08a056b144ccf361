"""Everything that people recorded, read once, and what of it was known at a moment."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import TypeVar

from qa.followup.case_events import CASE
from qa.followup.checks import CHECKS
from qa.followup.competence import OPERATOR_FILE, OperatorFile
from qa.followup.device_log import DEVICE_LOG
from qa.followup.documents import DOCUMENT
from qa.followup.facts import Facts, SnapshotFacts, TrailFacts
from qa.followup.month_reviews import MONTH_REVIEW
from qa.followup.phantoms import PHANTOM
from qa.followup.records import RecordClass
from qa.followup.reviews import REVIEW
from qa.followup.standing import Standing, operator_standing
from qa.followup.statements import STATEMENT
from qa.followup.trail import TrailCheck
from qa.jobs.followup.opening import replay_all
from qa.jobs.followup.trail import verify_trail
from qa.model.months import add_months
from qa.model.record import Event, time_text
from qa.stores.followup.store import FollowupStore

S = TypeVar("S")
CLASSES: tuple[RecordClass, ...] = (
    *(CASE, REVIEW, DOCUMENT, STATEMENT, OPERATOR_FILE),
    *(CHECKS, PHANTOM, DEVICE_LOG, MONTH_REVIEW),
)


@dataclass(frozen=True)
class Recorded:
    """Events of every class that verdicts look at, and the trail as walked at `checked_at`.

    Args: line_times: time of each line of the trail, in the order of their numbers.
    """

    events: dict[str, list[Event]]
    trail: TrailCheck
    line_times: list[tuple[int, str]]
    checked_at: datetime
    _replayed: dict[tuple[str, str], list] = field(default_factory=dict, compare=False)

    def records_at(self, kind: RecordClass[S], moment: datetime) -> list[S]:
        """Records as they stood at a moment: the replay of the events up to it."""
        limit = time_text(moment)
        if (kind.name, limit) not in self._replayed:
            known = [one for one in self.events[kind.name] if one.at <= limit]
            self._replayed[kind.name, limit] = replay_all(kind, known)
        return list(self._replayed[kind.name, limit])

    def facts_at(
        self, moment: datetime, *, site_id: str, month: date, snapshot: SnapshotFacts | None
    ) -> Facts:
        files = self.records_at(OPERATOR_FILE, moment)
        standings = self._standings(files, moment, month, snapshot) if snapshot else None
        return Facts(
            site_id=site_id,
            month=month,
            known_at=moment,
            snapshot=snapshot,
            cases=tuple(self.records_at(CASE, moment)),
            reviews=tuple(self.records_at(REVIEW, moment)),
            month_review=next(
                (
                    one
                    for one in self.records_at(MONTH_REVIEW, moment)
                    if one.month == f"{month:%Y-%m}"
                ),
                None,
            ),
            documents=tuple(self.records_at(DOCUMENT, moment)),
            statements=tuple(self.records_at(STATEMENT, moment)),
            trail=self.trail_at(moment),
            lacking=None
            if standings is None
            else {name: "; ".join(one.lacks) for name, one in standings.items()},
            holds={name: _holds(one) for name, one in (standings or {}).items()},
            has_files=bool(files),
            checks=tuple(self.records_at(CHECKS, moment)),
            phantoms={one.phantom_id: one for one in self.records_at(PHANTOM, moment)},
            logs={one.device_id: one for one in self.records_at(DEVICE_LOG, moment)},
        )

    def _standings(
        self, files: list[OperatorFile], moment: datetime, month: date, snapshot: SnapshotFacts
    ) -> dict[str, Standing]:
        """Of who examined that month, on its last day; what happened later is not looked at."""
        on = min(moment.date(), add_months(month, 1) - timedelta(days=1))
        by_name = {one.operator_id: one.by_day(on) for one in files}
        return {
            name: operator_standing(
                name, by_name.get(name), practice, settings=snapshot.settings, on=on
            )
            for name, practice in snapshot.practice.items()
        }

    def trail_at(self, moment: datetime) -> TrailFacts:
        """Lines up to the last that was written by then; faults that show among them."""
        limit = time_text(moment)
        last = max((no for no, at in self.line_times if at <= limit), default=0)
        faults = tuple(fault.sentence for fault in self.trail.faults if fault.no <= last)
        return TrailFacts(last, faults if last else (), self.checked_at)


def _holds(one: Standing) -> str:
    """Example: '3 observed exams signed off, 212 exams in 12 months; authorised: 1. TE, any, …'"""
    given = "; ".join(one.authorised) or "nothing"
    return (
        f"{one.n_observed} observed exams signed off, {one.n_year:,} exams in 12 months; "
        f"authorised: {given}"
    )


def read_recorded(store: FollowupStore, *, at: datetime) -> Recorded:
    """Read every event, and walk the whole trail now."""
    with store.reading() as reading:
        events = {kind.name: reading.events(kind.name) for kind in CLASSES}
        lines = [(row.no, row.at) for row in reading.entries()]
    return Recorded(events, verify_trail(store), lines, at)
