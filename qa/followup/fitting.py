"""Whether a decision fits the case, and whether a word is one of ours."""

from enum import StrEnum
from typing import TypeVar

from qa.followup.cases import Case
from qa.model.case_words import NEXT_STEP, CaseState
from qa.model.errors import FollowupError

W = TypeVar("W", bound=StrEnum)


def require_word(words: type[W], given: str, *, field: str) -> W:
    """Raises: FollowupError FUP-027 for anything but one of the words."""
    try:
        return words(given)
    except ValueError:
        raise FollowupError(
            f"'{given[:60]}'" if given else "nothing was chosen",
            where=field,
            expected="one of: " + ", ".join(one.value for one in words),
            code="FUP-027",
        ) from None


def require_open(case: Case | None) -> Case:
    """Any state but closed. Raises: FollowupError FUP-022; FUP-014 where there is none."""
    if case is None:
        raise FollowupError("there is no such case", code="FUP-014")
    if case.is_closed:
        raise FollowupError(
            "it is closed",
            where=case.case_id,
            todo="Reopen it first; nothing was changed",
            code="FUP-022",
        )
    return case


def require_step(case: Case | None, *steps: CaseState) -> Case:
    """One of some states. Raises: FollowupError FUP-033, FUP-022, FUP-014."""
    if case is None or (case.is_closed and CaseState.CLOSED not in steps):
        return require_open(case)
    if case.step not in steps:
        raise FollowupError(
            f"it is '{case.step}'",
            where=case.case_id,
            expected=" or ".join(f"'{step}'" for step in steps),
            todo=f"Next: {NEXT_STEP[case.step]}; nothing was changed",
            code="FUP-033",
        )
    return case
