"""Decisions on a case → events. What does not fit the state is refused with what would.

Every function takes the case as it stands (None: there is none yet) and plain values, and returns
events. Texts come in as typed. Actions and their check: decide_action.py.
"""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date

from qa.followup.cases import MAX_TITLE, Case, CaseExam, CaseItem, can_close
from qa.followup.fitting import require_open, require_step, require_word
from qa.followup.records import clean_text
from qa.model.case_words import CaseState, CauseCategory, CauseMethod, ExamDecision
from qa.model.errors import FollowupError
from qa.model.record import NewEvent

S = CaseState
MAX_EXAMS = 5_000


def open_case(
    case: Case | None,
    *,
    site_id: str | None,
    title: str,
    why: str,
    owner: str,
    due_on: date,
    items: Sequence[CaseItem] = (),
) -> list[NewEvent]:
    """Raises: FollowupError FUP-021 when there is such a case, FUP-011 to FUP-013 for texts."""
    if case is not None:
        raise FollowupError("it is there already", where=case.case_id, code="FUP-021")
    data = {
        "site_id": site_id,
        "title": clean_text(title, field="title", longest=MAX_TITLE),
        "why": clean_text(why, field="why", is_needed=not items),
        "owner": clean_text(owner, field="owner", longest=MAX_TITLE),
        "due_on": due_on.isoformat(),
        "items": [asdict(item) for item in items],
    }
    return [NewEvent("opened", data)]


def add_items(case: Case | None, *, items: Sequence[CaseItem]) -> list[NewEvent]:
    """Raises: FollowupError FUP-022 when the case is closed, FUP-023 when all are in it already."""
    case = require_open(case)
    known = {item.item_id for item in case.items}
    new = [item for item in items if item.item_id not in known]
    if not new:
        raise FollowupError("these items belong to it already", where=case.case_id, code="FUP-023")
    return [NewEvent("items added", {"items": [asdict(item) for item in new]})]


def assign(case: Case | None, *, owner: str, due_on: date) -> list[NewEvent]:
    """Who answers for the next step, and by when."""
    case = require_open(case)
    name = clean_text(owner, field="owner", longest=MAX_TITLE)
    return [NewEvent("assigned", {"owner": name, "due_on": due_on.isoformat()})]


def list_exams(case: Case | None, *, exams: Sequence[CaseExam]) -> list[NewEvent]:
    """Exams that the case concerns, added to its list.

    Raises: FollowupError FUP-024 when all are on it already or the list grows too long.
    """
    case = require_open(case)
    known = {exam.exam_key for exam in case.exams}
    new = {exam.exam_key: exam for exam in exams if exam.exam_key not in known}
    if not new or len(known) + len(new) > MAX_EXAMS:
        raise FollowupError(
            "no exam is new to its list" if not new else f"{len(known) + len(new):,} exams",
            where=case.case_id,
            expected=f"exams that are not on it yet, {MAX_EXAMS:,} in all",
            code="FUP-024",
        )
    rows = [{"exam_key": exam.exam_key, "shown": exam.shown} for exam in new.values()]
    return [NewEvent("exams listed", {"exams": rows})]


def decide_exams(
    case: Case | None, *, exam_keys: Sequence[str], decision: str, words: str
) -> list[NewEvent]:
    """What happens to listed exams. Whoever recalls or sets aside says why, and who decided it.

    Raises: FollowupError FUP-025 when an exam is not on the list.
    """
    case = require_open(case)
    word = require_word(ExamDecision, decision, field="decision")
    listed = {exam.exam_key for exam in case.exams}
    strange = [key for key in exam_keys if key not in listed]
    if strange or not exam_keys:
        raise FollowupError(
            "an exam is not on the list of this case" if strange else "no exam is named",
            where=case.case_id,
            todo="Put it on the list first; nothing was changed",
            code="FUP-025",
        )
    needs_words = word in (ExamDecision.RECALL, ExamDecision.NOT_USED)
    data = {
        "exam_keys": sorted(set(exam_keys)),
        "decision": str(word),
        "words": clean_text(words, field="words", is_needed=needs_words),
    }
    return [NewEvent("exams decided", data)]


def contain(case: Case | None, *, words: str) -> list[NewEvent]:
    """What was done at once. Raises: FollowupError FUP-026 when a listed exam is not decided."""
    case = require_step(case, S.OPEN, S.REOPENED)
    if case.undecided:
        raise FollowupError(
            f"{len(case.undecided):,} of {len(case.exams):,} exams are not decided",
            where=case.case_id,
            expected="a decision for each exam on the list",
            code="FUP-026",
        )
    return [NewEvent("contained", {"words": clean_text(words, field="containment")})]


def find_cause(case: Case | None, *, category: str, method: str, words: str) -> list[NewEvent]:
    """The cause; it may be corrected until an action is planned."""
    require_step(case, S.CONTAINED, S.CAUSE_FOUND, S.REOPENED)
    data = {
        "category": str(require_word(CauseCategory, category, field="category")),
        "method": str(require_word(CauseMethod, method, field="method")),
        "words": clean_text(words, field="cause"),
    }
    return [NewEvent("cause found", data)]


def close_case(case: Case | None, *, words: str) -> list[NewEvent]:
    """Raises: FollowupError FUP-032 without a check that found the action effective."""
    case = require_open(case)
    if not can_close(case):
        last = case.last_check
        raise FollowupError(
            f"its newest check says: {last.verdict}" if last else "its effect was not checked",
            where=case.case_id,
            expected="an action that was done, and a check that found it effective",
            todo="Run the check when it is due; where it did not work, reopen the case",
            code="FUP-032",
        )
    words = clean_text(words, field="closing words", is_needed=False)
    return [NewEvent("closed as effective", {"words": words})]


def reopen_case(case: Case | None, *, why: str) -> list[NewEvent]:
    """Back to the beginning of the steps, from any state after the action."""
    require_step(case, S.ACTION_DONE, S.CLOSED)
    return [NewEvent("reopened", {"why": clean_text(why, field="why")})]


def comment(case: Case | None, *, words: str) -> list[NewEvent]:
    require_open(case)
    return [NewEvent("commented", {"words": clean_text(words, field="comment")})]
