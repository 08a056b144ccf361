"""Repeats of a pack: how many, and what became of exams that were not reliable."""

from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from qa.model.months import add_months, iterate_months, month_name
from qa.model.published import Published
from qa.model.words import Outcome, RepeatKind
from qa.views import words

NOT_RELIABLE = [Outcome.UNRELIABLE.value, Outcome.INCOMPLETE.value, Outcome.FAILED.value]


@dataclass(frozen=True)
class FollowedUp:
    """Exams of a past month that were not reliable, and how many were repeated in the window.

    month is None where no month's window is over yet.
    """

    month: date | None
    n: int
    n_repeated: int
    window_days: int

    @property
    def sentence(self) -> str:
        if self.month is None:
            return "No past month's window for repeats is over yet."
        when = month_name(self.month)
        if not self.n:
            return f"All exams of {when} were reliable, so none had to be repeated."
        left = self.n - self.n_repeated
        return (
            f"Of {words.counted(self.n, 'exam')} of {when} that {_was(self.n)} not reliable, "
            f"{words.whole(self.n_repeated)} {_was(self.n_repeated)} repeated within "
            f"{self.window_days} days and {words.whole(left)} {_was(left)} not."
        )


def _was(n: int) -> str:
    return "was" if n == 1 else "were"


def followed_up(published: Published, *, site_id: str, month: date) -> FollowedUp:
    """The newest month of the site whose window for repeats ended by the end of `month`.

    A site that never calls anybody back has no repeats, so both numbers stand together.
    """
    window = published.network.settings.repeat_window_days
    last_day = add_months(month, 1) - timedelta(days=1)
    past = month
    while add_months(past, 1) - timedelta(days=1) + timedelta(days=window) > last_day:
        past = add_months(past, -1)
    months = list(iterate_months(past, month))
    own = published.frame("exams", site_id=site_id, month=past)
    if own.is_empty():
        return FollowedUp(None, 0, 0, window)
    is_try = pl.col("repeat_kind").eq_missing(RepeatKind.RESTART.value)
    bad = own.filter(pl.col("outcome").is_in(NOT_RELIABLE) & ~is_try).select(
        "exam_key", "patient_key", "exam_at"
    )
    if bad.is_empty():
        return FollowedUp(past, 0, 0, window)
    later = published.frame(
        "exams", month=months, patient_key=bad["patient_key"].unique().sort().to_list()
    ).filter("is_repeat")
    served = (
        bad.join(later.select("patient_key", repeat_at="exam_at"), on="patient_key")
        .filter(
            pl.col("repeat_at") > pl.col("exam_at"),
            pl.col("repeat_at") <= pl.col("exam_at") + timedelta(days=window),
        )
        .get_column("exam_key")
        .n_unique()
    )
    return FollowedUp(past, bad.height, served, window)
