"""No sequence of decisions brings a case where it must not be (ISO 9001:2015, 10.2).

The table below is written from the standard's steps, not from the program: which decision is
allowed in which state, and where it leads.
"""

from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.followup.case_events import CASE, plain_case, replay_case
from qa.followup.cases import Case
from qa.followup.records import decide_changes
from qa.model.case_words import CaseState
from qa.model.errors import FollowupError
from qa.model.record import Event
from tests.followup.case_steps import CHECK_ON, STEPS, TODAY
from tests.followup.notes import AT

NOT_CLOSED = (
    "open",
    "contained",
    "cause found",
    "action planned",
    "action done",
    "reopened",
)
LEADS_TO: dict[str, dict[str, str]] = {
    "contain": dict.fromkeys(("open", "reopened"), "contained"),
    "cause": dict.fromkeys(("contained", "cause found", "reopened"), "cause found"),
    "plan": dict.fromkeys(("cause found", "action planned"), "action planned"),
    "done": {"action planned": "action done"},
    "done before plan": {},
    "check effective": {"action done": "action done"},
    "check not effective": {"action done": "action done"},
    "check too few": {"action done": "action done"},
    "check too early": {},
    "put off": {"action done": "action done"},
    "close": {"action done": "closed as effective"},
    "reopen": dict.fromkeys(("action done", "closed as effective"), "reopened"),
    **{
        name: {state: state for state in NOT_CLOSED}
        for name in ("assign", "list exam", "decide exam", "comment")
    },
}


@dataclass
class Shadow:
    """What the standard says of the case, kept apart from the program."""

    state: str = ""
    exam: str = "not listed"
    verdict: str = ""
    is_put_off: bool = False

    def allows(self, name: str) -> bool:
        if name == "open":
            return not self.state
        if self.state not in LEADS_TO[name]:
            return False
        return {
            "list exam": self.exam == "not listed",
            "decide exam": self.exam != "not listed",
            "contain": self.exam != "listed",
            "close": self.verdict == "effective",
            "put off": self.verdict in ("", "too few exams") and not self.is_put_off,
        }.get(name, True)

    def go(self, name: str) -> None:
        self.state = "open" if name == "open" else LEADS_TO[name][self.state]
        if name == "list exam":
            self.exam = "listed"
        elif name == "decide exam":
            self.exam = "decided"
        elif name.startswith("check "):
            words = {"check too few": "too few exams"}
            self.verdict = words.get(name, name.removeprefix("check "))
        elif name in ("done", "reopen"):
            self.verdict, self.is_put_off = "", False
        elif name == "put off":
            self.is_put_off = True


@dataclass
class Run:
    events: list[Event] = field(default_factory=list)
    shadow: Shadow = field(default_factory=Shadow)

    @property
    def case(self) -> Case | None:
        return replay_case(self.events) if self.events else None

    def take(self, name: str) -> bool:
        before = self.case
        try:
            changes = decide_changes(CASE, "CASE-0001", self.events, STEPS[name], by="lena", at=AT)
        except FollowupError:
            assert self.case == before
            return False
        self.events += [change.event for change in changes]
        return True


names = st.lists(st.sampled_from(sorted(STEPS)), max_size=25)
on_the_way = st.sampled_from(
    [
        [],
        ["open"],
        ["open", "contain", "cause"],
        ["open", "contain", "cause", "plan", "done"],
        ["open", "contain", "cause", "plan", "done", "check effective", "close"],
        ["open", "contain", "cause", "plan", "done", "check not effective", "reopen"],
    ]
)


@settings(derandomize=True, max_examples=150, deadline=None)
@given(on_the_way, names)
def test_only_what_the_steps_allow_happens(first: list[str], then: list[str]) -> None:
    run = Run()
    for name in first + then:
        is_allowed = run.shadow.allows(name)
        assert run.take(name) == is_allowed, f"{name} in '{run.shadow.state}'"
        if is_allowed:
            run.shadow.go(name)
        case = run.case
        if case is not None:
            assert case.step == run.shadow.state
            _hold(case, run.events)


def _hold(case: Case, events: list[Event]) -> None:
    """What must be so whatever came before."""
    kinds = [event.kind for event in events]
    assert case == replay_case(list(events))
    assert case.n_events == len(events) == len(case.history)
    if case.step is CaseState.CLOSED:
        newest_done = len(kinds) - 1 - kinds[::-1].index("action done")
        checks = [event for event in events[newest_done:] if event.kind == "effectiveness checked"]
        assert checks[-1].values["verdict"] == "effective"
    if case.done_on is not None:
        assert case.plan is not None
        assert case.plan.planned_on <= case.done_on
        newest_done = len(kinds) - 1 - kinds[::-1].index("action done")
        assert "action planned" not in kinds[newest_done:]
    assert all(isinstance(words, str) for words in plain_case(case).values())


def test_check_is_due_from_the_criterions_day_on() -> None:
    run = Run()
    for name in ("open", "contain", "cause", "plan", "done"):
        assert run.take(name)
    case = run.case
    assert case is not None
    days = (TODAY, CHECK_ON.replace(month=2, day=28), CHECK_ON)
    assert [str(case.state_on(day)) for day in days] == [
        "action done",
        "action done",
        "effectiveness check due",
    ]


def test_every_state_and_decision_meet_in_the_table() -> None:
    assert set(LEADS_TO) | {"open"} == set(STEPS)
    reached = {state for one in LEADS_TO.values() for state in one.values()} | {"open"}
    assert reached | {CaseState.CHECK_DUE} == set(CaseState)


@pytest.mark.parametrize("name", sorted(set(STEPS) - {"reopen"}))
def test_closed_case_is_only_reopened(name: str) -> None:
    run = Run()
    for step in ("open", "contain", "cause", "plan", "done", "check effective", "close"):
        assert run.take(step)
    assert not run.take(name)
    assert run.take("reopen")
    assert run.case is not None
    assert run.case.n_rounds == 2
