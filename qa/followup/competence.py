"""An operator's file: training, observed exams, refreshers, authorisations; as its events say.

What the file should hold: ISO 15189 on competence and authorisation (6.2, clause number from
memory). Thresholds are settings; their sources stand in standing.py.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from qa.followup.records import RecordClass
from qa.model.record import Event


@dataclass(frozen=True)
class Training:
    """A course or a session at the machine. given_by: who taught."""

    day: date
    given_by: str
    words: str


@dataclass(frozen=True)
class ObservedExam:
    """An exam that somebody watched. signed_by: user id of who entered the verdict."""

    day: date
    observer: str
    is_satisfactory: bool
    words: str
    signed_by: str


@dataclass(frozen=True)
class Authorisation:
    """What an operator may do, both days included. probe: "any" for every probe."""

    number: int
    technique: str
    probe: str
    from_day: date
    to_day: date | None
    given_by: str
    why_ended: str = ""

    @property
    def words(self) -> str:
        """Example: "1. TE, large-patient, from 2026-01-05 to 2026-06-30 (on leave)" """
        end = f" to {self.to_day}" if self.to_day else ""
        why = f" ({self.why_ended})" if self.why_ended else ""
        return f"{self.number}. {self.technique}, {self.probe}, from {self.from_day}{end}{why}"

    def covers(self, day: date) -> bool:
        return self.from_day <= day and (self.to_day is None or day <= self.to_day)


@dataclass(frozen=True)
class OperatorFile:
    """Everything that a file's events say.

    Args:
        site_id: the operator's home site when the file was begun.
        n_earlier: exams stated from before the exports begin; earlier_words: how that is known.
        n_events: number of the last event; an edit names it to be told of others' changes.
    """

    operator_id: str
    site_id: str | None
    trainings: tuple[Training, ...] = ()
    observed: tuple[ObservedExam, ...] = ()
    refreshers: tuple[Training, ...] = ()
    n_earlier: int = 0
    earlier_words: str = ""
    authorisations: tuple[Authorisation, ...] = ()
    n_events: int = 0
    history: tuple[tuple[str, str, str], ...] = ()

    @property
    def n_satisfactory(self) -> int:
        return sum(one.is_satisfactory for one in self.observed)

    @property
    def last_taught(self) -> date | None:
        """Day of the newest refresher; the newest training where there was none."""
        return max((one.day for one in self.refreshers or self.trainings), default=None)

    def by_day(self, day: date) -> "OperatorFile":
        """As if what happened after a day had not: who is taught later was not taught then."""
        return replace(
            self,
            trainings=tuple(one for one in self.trainings if one.day <= day),
            observed=tuple(one for one in self.observed if one.day <= day),
            refreshers=tuple(one for one in self.refreshers if one.day <= day),
        )

    def in_force(self, day: date) -> tuple[Authorisation, ...]:
        return tuple(one for one in self.authorisations if one.covers(day))


def replay_file(events: Sequence[Event]) -> OperatorFile:
    """The file after all of its events. Raises: KeyError for an unknown kind (our bug)."""
    first = events[0]
    file = OperatorFile(first.record_id, first.values["site_id"])
    for event in events:
        file = replace(
            _STEPS[event.kind](file, event.values, event),
            n_events=event.no,
            history=(*file.history, (event.at, event.by, event.kind)),
        )
    return file


def _taught(told: Mapping[str, Any]) -> Training:
    return Training(date.fromisoformat(told["day"]), told["given_by"], told["words"])


def _trained(file: OperatorFile, told: Mapping[str, Any], event: Event) -> OperatorFile:
    return replace(file, trainings=(*file.trainings, _taught(told)))


def _refreshed(file: OperatorFile, told: Mapping[str, Any], event: Event) -> OperatorFile:
    return replace(file, refreshers=(*file.refreshers, _taught(told)))


def _observed(file: OperatorFile, told: Mapping[str, Any], event: Event) -> OperatorFile:
    seen = ObservedExam(
        date.fromisoformat(told["day"]),
        told["observer"],
        told["is_satisfactory"],
        told["words"],
        event.by,
    )
    return replace(file, observed=(*file.observed, seen))


def _stated_earlier(file: OperatorFile, told: Mapping[str, Any], event: Event) -> OperatorFile:
    return replace(file, n_earlier=told["n"], earlier_words=told["words"])


def _authorised(file: OperatorFile, told: Mapping[str, Any], event: Event) -> OperatorFile:
    given = Authorisation(
        len(file.authorisations) + 1,
        told["technique"],
        told["probe"],
        date.fromisoformat(told["from_day"]),
        date.fromisoformat(told["to_day"]) if told["to_day"] else None,
        event.by,
    )
    return replace(file, authorisations=(*file.authorisations, given))


def _ended(file: OperatorFile, told: Mapping[str, Any], event: Event) -> OperatorFile:
    def ended(one: Authorisation) -> Authorisation:
        if one.number != told["number"]:
            return one
        return replace(one, to_day=date.fromisoformat(told["to_day"]), why_ended=told["why"])

    return replace(file, authorisations=tuple(ended(one) for one in file.authorisations))


_STEPS: dict[str, Callable[[OperatorFile, Mapping[str, Any], Event], OperatorFile]] = {
    "trained": _trained,
    "observed exam entered": _observed,
    "refreshed": _refreshed,
    "earlier exams stated": _stated_earlier,
    "authorised": _authorised,
    "authorisation ended": _ended,
}


def plain_file(file: OperatorFile) -> dict[str, str]:
    """Every field in words, for the trail and the command line."""
    return {
        "Training": "\n".join(f"{one.day} {one.given_by}: {one.words}" for one in file.trainings),
        "Observed": "\n".join(_observed_words(one) for one in file.observed),
        "Refreshers": "\n".join(
            f"{one.day} {one.given_by}: {one.words}" for one in file.refreshers
        ),
        "Earlier": f"{file.n_earlier:,} exams ({file.earlier_words})" if file.earlier_words else "",
        "Authorised": "\n".join(one.words for one in file.authorisations),
    }


def _observed_words(one: ObservedExam) -> str:
    verdict = "signed off" if one.is_satisfactory else "not yet satisfactory"
    return f"{one.day} {verdict} by {one.observer}" + (f": {one.words}" if one.words else "")


OPERATOR_FILE = RecordClass("operator file", "the file of operator", replay_file, plain_file)
