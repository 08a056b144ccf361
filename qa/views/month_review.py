"""How far the review of a month has come, what closing it would leave, and that it is closed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from qa.followup.cases import Case
from qa.followup.month_reviews import MonthReview
from qa.followup.reviews import Review
from qa.model.months import month_name
from qa.views import words
from qa.views.case_page import LINE, TEXT, Field, FormShown
from qa.views.followup import Decided, decided_items
from qa.views.worklist import WorkItem

UNDO_WHY = ("decided by mistake", "new evidence", "somebody asked for it")
"""Reasons offered for taking a decision back."""
DAYS_TO_DO = (14, 30, 60)
"""Days offered for what a new case asks first."""
LOOK_AGAIN = FormShown(
    "look",
    "Look again next month",
    "Leave it on the list",
    (Field("words", "What was found so far", TEXT),),
)
UNDO = FormShown("undo", "Undo", "Take it back", (Field("why", "Why", LINE),))
CLOSE_MONTH = FormShown(
    "close",
    "Close the month",
    "Close the month",
    (Field("words", "Why items stay undecided", TEXT, is_needed=False),),
)


@dataclass(frozen=True)
class MonthReviewView:
    """The review of a month.

    Args:
        decided: item id → what was decided.
        progress: a sentence. left: findings that nobody has decided on.
        closed: by whom, when, with what left open; "" while the month is open.
    """

    month: date
    decided: Mapping[str, Decided]
    n_items: int
    progress: str
    left: tuple[str, ...]
    closed: str = ""
    closed_left: tuple[str, ...] = ()

    @property
    def n_decided(self) -> int:
        return self.n_items - len(self.left)


def month_review_view(
    items: Sequence[WorkItem],
    review: MonthReview,
    *,
    month: date,
    cases: Sequence[Case],
    reviews: Sequence[Review],
    names: Mapping[str, str],
    on: date,
) -> MonthReviewView:
    """Args: names: id of an account → a person's name. on: today."""
    decided = decided_items(cases, reviews, on=on, month=review, names=names)
    left = tuple(item.finding for item in items if item.item_id not in decided)
    closed, closed_left = _closed(review, month, names)
    return MonthReviewView(
        month=month,
        decided=decided,
        n_items=len(items),
        progress=_progress(len(items), len(left)),
        left=left,
        closed=closed,
        closed_left=closed_left,
    )


def _progress(n_items: int, n_left: int) -> str:
    """Example: 'Three of eleven items are decided; eight wait.'"""
    if not n_items:
        return "Nothing has to be decided."
    if not n_left:
        all_of = words.share_of(n_items, n_items, "item")
        return words.as_sentence(f"{all_of} {'is' if n_items == 1 else 'are'} decided")
    n_decided = n_items - n_left
    if not n_decided:
        waits = "waits" if n_left == 1 else "wait"
        return words.as_sentence(f"{words.counted_word(n_left, 'item')} {waits} for a decision")
    verb = "is" if n_decided == 1 else "are"
    wait = "waits" if n_left == 1 else "wait"
    share = words.share_of(n_decided, n_items, "item")
    return words.as_sentence(f"{share} {verb} decided; {words.number_word(n_left)} {wait}")


def _closed(
    review: MonthReview, month: date, names: Mapping[str, str]
) -> tuple[str, tuple[str, ...]]:
    closing = review.closing
    if closing is None:
        return "", ()
    who = names.get(closing.by, closing.by)
    n_left = len(closing.undecided)
    done = words.share_of(closing.n_items - n_left, closing.n_items, "item")
    what = f"with {done} decided" if closing.n_items else "with nothing to decide"
    why = f" Left open because: {closing.words}" if n_left else ""
    said = f"The review of {month_name(month)} was closed by {who} on {closing.at[:10]} {what}."
    return said + why, closing.undecided


def due_choices(on: date) -> tuple[tuple[str, str], ...]:
    """Words and day for each of DAYS_TO_DO. Example: ('in 14 days, 2026-12-09', '2026-12-09')"""
    days = [(number, on + timedelta(days=number)) for number in DAYS_TO_DO]
    return tuple((f"in {number} days, {day}", f"{day}") for number, day in days)


def case_title(item: WorkItem) -> str:
    """A few words that name a case. Example: 'Operator 07 (Bracken Hill): unreliable exams'"""
    return f"{item.unit_name}: {words.lower_first(item.measure_title)}"[:120]
