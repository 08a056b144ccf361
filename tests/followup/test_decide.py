"""What a decision must hold, field by field, and what is said when it does not."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest

from qa.followup import decide, decide_action
from qa.followup.annotations import annotate
from qa.followup.case_events import CASE, replay_case
from qa.followup.cases import Case, CaseExam
from qa.followup.records import clean_text, decide_changes
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent
from tests.followup.case_steps import CHECK_ON, CRITERION, PLAN, STEPS, TODAY, by, opened
from tests.followup.notes import AT


def case_after(*names: str) -> Case:
    events: list[Event] = []
    for name in names:
        changes = decide_changes(CASE, "CASE-0001", events, STEPS[name], by="lena", at=AT)
        events += [change.event for change in changes]
    return replay_case(events)


@pytest.mark.parametrize(
    ("plan", "code", "words"),
    [
        (by("retraining", step=""), "FUP-027", "positioning and window"),
        (by("device service"), "FUP-011", "device"),
        (by("recall of patients"), "FUP-011", "who at the clinic decided"),
        (by("punishment"), "FUP-027", "retraining, device service"),
        (by("other", words="  "), "FUP-011", "action"),
        (by("other", owner=""), "FUP-011", "owner"),
        (by("other", threshold_share=1.5), "FUP-028", "from 0 to 1"),
        (by("other", threshold_share=float("nan")), "FUP-028", "from 0 to 1"),
        (by("other", n_months=0), "FUP-028", "1 to 24"),
        (by("other", min_n=0), "FUP-028", "at least 1"),
        (by("other", check_on=date(2027, 2, 28)), "FUP-028", "2027-03-01 or later"),
    ],
)
def test_plan_that_cannot_be_checked_is_refused(plan: object, code: str, words: str) -> None:
    case = case_after("open", "contain", "cause")
    with pytest.raises(FollowupError) as caught:
        decide_action.plan_action(case, plan, on=TODAY)  # type: ignore[arg-type]
    assert caught.value.code == code
    assert words in caught.value.message


@pytest.mark.parametrize(
    "plan",
    [
        by("device service", device_id="dev-1"),
        by("recall of patients", decided_by_clinic="head of the clinic"),
        by("protocol change"),
        by("other", check_on=CHECK_ON),
    ],
)
def test_plan_that_can_be_checked_is_kept(plan: object) -> None:
    case = case_after("open", "contain", "cause")
    (event,) = decide_action.plan_action(case, plan, on=TODAY)  # type: ignore[arg-type]
    assert event.data["planned_on"] == "2026-11-04"


@pytest.mark.parametrize(("day", "is_kept"), [(3, False), (4, True), (5, False)])
def test_action_is_done_from_its_plan_to_today(day: int, is_kept: bool) -> None:
    case = case_after("open", "contain", "cause", "plan")
    done_on = date(2026, 11, day)
    if is_kept:
        assert decide_action.finish_action(case, done_on=done_on, words="Done", on=TODAY)
        return
    with pytest.raises(FollowupError, match=r"FUP-029.*proves nothing"):
        decide_action.finish_action(case, done_on=done_on, words="Done", on=TODAY)


def test_criterion_cannot_change_once_the_action_is_done() -> None:
    case = case_after("open", "contain", "cause", "plan", "done")
    easier = replace(PLAN, criterion=replace(CRITERION, threshold_share=0.9))
    with pytest.raises(FollowupError, match="FUP-033"):
        decide_action.plan_action(case, easier, on=TODAY)


def test_containing_needs_a_decision_for_each_exam() -> None:
    case = case_after("open", "list exam")
    with pytest.raises(FollowupError, match=r"FUP-026.*1 of 1 exams"):
        decide.contain(case, words="looked at")
    assert case_after("open", "list exam", "decide exam", "contain").step == "contained"


@pytest.mark.parametrize(
    ("keys", "decision", "words", "code"),
    [
        (["k1"], "to be repeated", "", ""),
        (["k2"], "to be repeated", "", "FUP-025"),
        ([], "to be repeated", "", "FUP-025"),
        (["k1"], "healthy", "", "FUP-027"),
        (["k1"], "patient to be recalled", "", "FUP-011"),
        (["k1"], "patient to be recalled", "head of the clinic", ""),
    ],
)
def test_exam_decisions(keys: list[str], decision: str, words: str, code: str) -> None:
    case = case_after("open", "list exam")
    try:
        decide.decide_exams(case, exam_keys=keys, decision=decision, words=words)
        found = ""
    except FollowupError as problem:
        found = problem.code
    assert found == code


def test_an_exam_is_listed_once() -> None:
    case = case_after("open", "list exam")
    with pytest.raises(FollowupError, match="FUP-024"):
        decide.list_exams(case, exams=[CaseExam("k1", "again")])


@pytest.mark.parametrize(
    "steps", [("open",), ("open", "contain", "cause", "plan", "done", "check not effective")]
)
def test_closing_without_an_effective_check_is_refused(steps: tuple[str, ...]) -> None:
    with pytest.raises(FollowupError, match="FUP-032"):
        decide.close_case(case_after(*steps), words="")


HOSTILE = "<script>alert('x')</script> {{7*7}} '; DROP TABLE trail; -- \u202e \U0001f600 %s"


@pytest.mark.parametrize(
    "fill",
    [
        lambda case: decide.comment(case, words=HOSTILE.replace("\u202e", "")),
        lambda case: decide.assign(case, owner="<b>x</b>", due_on=TODAY),
        lambda case: decide.contain(case, words="<img src=x onerror=alert(1)>"),
    ],
)
def test_markup_stays_text(fill: Callable[[Case], list[NewEvent]]) -> None:
    (event,) = fill(case_after("open"))
    assert "<" in str(event.data)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "FUP-011"),
        (" \n ", "FUP-011"),
        ("a\x00b", "FUP-013"),
        ("a\x1b[31mred", "FUP-013"),
        ("turned \u202e round", "FUP-013"),
        ("half \ud83d", "FUP-013"),
        ("x" * 4_001, "FUP-012"),
    ],
)
def test_text_that_cannot_be_kept_is_refused(text: str, code: str) -> None:
    with pytest.raises(FollowupError) as caught:
        clean_text(text, field="why")
    assert caught.value.code == code


def test_text_is_trimmed_and_keeps_lines() -> None:
    assert clean_text(" a\r\nb\tc ", field="why") == "a\nb\tc"


@pytest.mark.parametrize(
    ("kind", "unit_kind", "day", "is_kept"),
    [
        ("new staff", "site", TODAY, True),
        ("weather", "site", TODAY, False),
        ("new staff", "planet", TODAY, False),
        ("new staff", "site", date(2026, 11, 5), False),
    ],
)
def test_annotations(kind: str, unit_kind: str, day: date, is_kept: bool) -> None:
    told: dict = {"unit_kind": unit_kind, "unit_id": "north", "site_id": "north", "kind": kind}
    told |= {"day": day, "words": "Two new operators", "on": TODAY}
    if is_kept:
        assert annotate(None, **told)
        return
    with pytest.raises(FollowupError, match="FUP-035"):
        annotate(None, **told)


def test_a_case_is_opened_once_and_by_hand_needs_a_why() -> None:
    with pytest.raises(FollowupError, match="FUP-021"):
        opened(case_after("open"))
    with pytest.raises(FollowupError, match=r"FUP-011.*why"):
        decide.open_case(None, site_id=None, title="T", why="", owner="a", due_on=TODAY)
