"""A comparison round: planned, results reported, closed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite

from qa.drift.round_scores import RoundResult, RoundScores, assign_value, score_round
from qa.followup.records import RecordClass, clean_text
from qa.model.equipment_words import UNITS, AssignedBy, Quantity, RoundItem
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent

MIN_PARTICIPANTS = 4
MAX_PARTICIPANTS = 400


@dataclass(frozen=True)
class RoundPlan:
    """What was planned.

    Args:
        participants: device ids that take part.
        sigma: standard deviation that the round allows; None: the robust one of the results.
        certified: (value, expanded uncertainty) of the item; None: none.
        phantom_id: "" for volunteers.
    """

    title: str
    item: str
    quantity: str
    phantom_id: str
    participants: tuple[str, ...]
    opens_on: date
    closes_on: date
    assigned_by: str
    sigma: float | None = None
    certified: tuple[float, float] | None = None


@dataclass(frozen=True)
class Round:
    """A round as it stands. results: the newest of each participant, in order of report."""

    round_id: str
    plan: RoundPlan
    results: tuple[RoundResult, ...] = ()
    is_closed: bool = False
    closed_words: str = ""
    n_events: int = 1

    @property
    def unit(self) -> str:
        return UNITS[self.plan.quantity]

    @property
    def missing(self) -> tuple[str, ...]:
        """Participants that have reported nothing."""
        known = {one.participant for one in self.results}
        return tuple(one for one in self.plan.participants if one not in known)

    @property
    def scores(self) -> RoundScores:
        """Scores from what was reported so far."""
        assigned = assign_value(
            [one.value for one in self.results],
            by=AssignedBy(self.plan.assigned_by),
            sigma=self.plan.sigma,
            certified=self.plan.certified,
        )
        return score_round(self.results, assigned)


def replay_round(events: Sequence[Event]) -> Round:
    told = events[0].values
    certified = told["certified"]
    plan = RoundPlan(
        title=told["title"],
        item=told["item"],
        quantity=told["quantity"],
        phantom_id=told["phantom_id"],
        participants=tuple(told["participants"]),
        opens_on=date.fromisoformat(told["opens_on"]),
        closes_on=date.fromisoformat(told["closes_on"]),
        assigned_by=told["assigned_by"],
        sigma=told["sigma"],
        certified=(certified[0], certified[1]) if certified else None,
    )
    results: dict[str, RoundResult] = {}
    for one in events:
        if one.kind == "result reported":
            values = one.values
            results[values["participant"]] = RoundResult(
                participant=values["participant"],
                site_id=values["site_id"],
                value=values["value"],
                uncertainty=values["uncertainty"],
                n=values["n"],
            )
    last = events[-1]
    is_closed = last.kind == "closed"
    return Round(
        round_id=events[0].record_id,
        plan=plan,
        results=tuple(results.values()),
        is_closed=is_closed,
        closed_words=last.values["words"] if is_closed else "",
        n_events=last.no,
    )


def plain_round(one: Round) -> dict[str, str]:
    return {
        "Title": one.plan.title,
        "Participants": ", ".join(one.plan.participants),
        "Open": f"{one.plan.opens_on} to {one.plan.closes_on}",
        "Assigned by": one.plan.assigned_by,
        **{f"Result {r.participant}": f"{r.value:g} (n {r.n})" for r in one.results},
        "Closed": one.closed_words,
    }


ROUND = RecordClass("round", "the round", replay_round, plain_round, frozenset({"result reported"}))


def plan_round(one: Round | None, plan: RoundPlan) -> list[NewEvent]:
    """Raises: FollowupError FUP-021; RND-001 (a plan that cannot work), RND-002 (too few)."""
    if one is not None:
        raise FollowupError("it is there already", where=one.round_id, code="FUP-021")
    _check_words(plan)
    n = len(set(plan.participants))
    if n < MIN_PARTICIPANTS and plan.assigned_by == AssignedBy.CONSENSUS:
        raise FollowupError(
            f"{n} participants",
            where="round",
            expected=f"at least {MIN_PARTICIPANTS} for a robust consensus (fewer than 8 is weak)",
            todo="Use a phantom with a certificate, or ask more sites; nothing was changed",
            code="RND-002",
        )
    has_certificate = plan.certified is not None and min(plan.certified) > 0
    if plan.assigned_by == AssignedBy.CERTIFICATE and not has_certificate:
        raise FollowupError(
            "the value is to come from a certificate, and there is none",
            where="round",
            expected="a registered phantom with a certificate",
            code="RND-001",
        )
    data = {
        "title": clean_text(plan.title, field="title", longest=200),
        "item": plan.item,
        "quantity": plan.quantity,
        "phantom_id": plan.phantom_id,
        "participants": list(dict.fromkeys(plan.participants)),
        "opens_on": plan.opens_on.isoformat(),
        "closes_on": plan.closes_on.isoformat(),
        "assigned_by": plan.assigned_by,
        "sigma": plan.sigma,
        "certified": list(plan.certified) if plan.certified else None,
    }
    return [NewEvent("planned", data)]


def _check_words(plan: RoundPlan) -> None:
    is_known = (
        plan.item in list(RoundItem)
        and plan.quantity in list(Quantity)
        and plan.assigned_by in list(AssignedBy)
    )
    is_sigma = plan.sigma is None or (isfinite(plan.sigma) and plan.sigma > 0)
    n = len(plan.participants)
    if not is_known or not is_sigma or plan.closes_on < plan.opens_on or not n > 0:
        raise FollowupError(
            f"{plan.item[:40]} of {plan.quantity[:40]}, {plan.opens_on} to {plan.closes_on}, "
            f"{n} participants",
            where="round",
            expected="an item (phantom, volunteers), a quantity (stiffness, attenuation), a first "
            "and a last day, participants, and a standard deviation above 0 where one is given",
            code="RND-001",
        )
    if n > MAX_PARTICIPANTS:
        raise FollowupError(f"{n} participants", where="round", code="RND-001")


def report_result(one: Round, result: RoundResult, *, day: date) -> list[NewEvent]:
    """A participant's result; a later one takes the place of the earlier, which stays.

    Raises: FollowupError RND-003 (closed, or not a participant), RND-004 (figures that cannot be).
    """
    if one.is_closed or result.participant not in one.plan.participants:
        raise FollowupError(
            "the round is closed"
            if one.is_closed
            else f"'{result.participant[:60]}' does not take part",
            where=one.round_id,
            expected=f"one of {', '.join(one.plan.participants)}, while the round is open",
            code="RND-003",
        )
    is_u = result.uncertainty is None or (isfinite(result.uncertainty) and result.uncertainty > 0)
    if not (isfinite(result.value) and result.value > 0 and is_u and result.n >= 1):
        raise FollowupError(
            "a figure that cannot be",
            where=f"{one.round_id}, {result.participant}",
            expected=f"a mean in {one.unit} above 0, its standard uncertainty above 0 or none, "
            "and how many measurements",
            code="RND-004",
        )
    data = {
        "participant": result.participant,
        "site_id": result.site_id,
        "value": result.value,
        "uncertainty": result.uncertainty,
        "n": result.n,
        "day": day.isoformat(),
    }
    return [NewEvent("result reported", data)]


def close_round(one: Round, *, words: str) -> list[NewEvent]:
    """No more results are taken. Raises: FollowupError RND-003, RND-005 (nothing to score)."""
    if one.is_closed:
        raise FollowupError("the round is closed", where=one.round_id, code="RND-003")
    assigned = one.scores.assigned
    if assigned.value is None:
        raise FollowupError(
            assigned.words,
            where=one.round_id,
            expected=f"results of at least {MIN_PARTICIPANTS} participants, or a certificate",
            todo="Wait for more results; nothing was changed",
            code="RND-005",
        )
    return [NewEvent("closed", {"words": clean_text(words, field="words", is_needed=False)})]
