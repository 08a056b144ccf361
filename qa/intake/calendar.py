"""What came in of each site's months, against what was expected: late, partial, thin, closed.

A month is measured against the site itself: its last twelve months that are whole and hold exams.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.model.definitions import Network, Site
from qa.model.months import add_months, iterate_months, month_name, month_of
from qa.model.schemas import INTAKE_MONTHS
from qa.model.words import IntakeState
from qa.stats.volume import chance_of_pause, longest_pause, thin_bound

HISTORY_MONTHS = 12
MIN_HISTORY_MONTHS = 6
THIN_TAIL = 0.005
PAUSE_TAIL = 0.001
"""Below these chances a month is thin or ends early. Simulated for sites without any change
(40 sites of 0.3 to 5 exams a working day over three years, five seeds, 30,000 months;
tests/property/test_calendar.py repeats a part): of 1,000 months 1 to 3 were called thin and 0.2 to
2.5 partial."""

QUESTION = "Is a part missing, or was the site closed?"
_DAY = timedelta(days=1)


@dataclass(frozen=True)
class _Month:
    """One site's month: exams by day, from its first to its last day.

    is_open: days on which the site was not closed, or did exams all the same.
    """

    month: date
    n_by_day: NDArray[np.int64]
    is_open: NDArray[np.bool_]
    is_over: bool
    expected_on: date
    is_due: bool

    @property
    def n(self) -> int:
        return int(self.n_by_day.sum())

    @property
    def has_exams(self) -> NDArray[np.bool_]:
        """Of each open day."""
        return self.n_by_day[self.is_open] > 0

    @property
    def weekdays(self) -> NDArray[np.int64]:
        """Of each open day."""
        return ((self.month.weekday() + np.arange(len(self.n_by_day))) % 7)[self.is_open]

    @property
    def n_closed(self) -> int:
        return int((~self.is_open).sum())

    @property
    def last_exam_on(self) -> date | None:
        found = np.flatnonzero(self.n_by_day)
        return self.month + int(found[-1]) * _DAY if len(found) else None

    @property
    def n_days_after(self) -> int:
        """Open days from the last exam to the month's end."""
        found = np.flatnonzero(self.has_exams)
        return len(self.has_exams) - 1 - int(found[-1]) if len(found) else len(self.has_exams)


def intake_months(
    arrivals: pl.DataFrame,
    *,
    closes: pl.DataFrame,
    restated: pl.DataFrame,
    network: Network,
    at: datetime,
) -> pl.DataFrame:
    """Say of each site and month what came in.

    Args:
        arrivals: site_id, exam_on, n, n_retracted, first_in_at: one row per site and day.
        closes: MONTH_CLOSES.
        restated: site_id, month, n_came_later, n_changed_later, n_left_later.
        network: its sites and settings; a site's own expected_day wins.
        at: now, UTC; "over" and "late" are said in each site's time zone.
    Returns: INTAKE_MONTHS by site and month, from each site's first month to the newest month of
        the network or the last month that is over. Sites that have sent nothing begin there.
    Method: late: no exams, and the day by which the file is expected has passed. partial: the
        days without exams at the month's end are more than any pause of the last twelve months,
        and by the habits of each weekday rarer than 1 in 1,000. thin: fewer exams than the lower
        prediction limit of the last twelve months (1 in 200). With fewer than six earlier months
        neither is said. Without any change at most 4 of 1,000 months are called thin and 3
        partial. Days on which a site is closed (network.toml) are left out: they are no pause, and
        the expected number and the limit shrink by their weekdays' share of the month.
    Weak when: a site closes for the first time on record and nobody said so; it grows fast; a
        closed month among those before makes the limit looser.
    """
    newest = arrivals["exam_on"].max()
    rows = [
        row
        for site in network.sites
        for row in _rows_of_site(
            site,
            arrivals.filter(pl.col("site_id") == site.id),
            expected_day=site.expected_day or network.settings.expected_day,
            newest=month_of(newest) if isinstance(newest, date) else None,
            at=at,
        )
    ]
    frame = pl.DataFrame(rows, schema_overrides=_TYPES) if rows else INTAKE_MONTHS.empty()
    return _with_closes(frame, closes, restated)


_TYPES = {
    name: dtype
    for name, dtype in INTAKE_MONTHS.to_polars().items()
    if name not in ("is_closed", "closed_at", "n_came_later", "n_changed_later", "n_left_later")
}


def _rows_of_site(
    site: Site, own: pl.DataFrame, *, expected_day: int, newest: date | None, at: datetime
) -> Iterator[dict[str, Any]]:
    today = pl.Series([at]).dt.convert_time_zone(site.time_zone).dt.date()[0]
    last = max(newest or date.min, add_months(month_of(today), -1))
    first = own["exam_on"].min()
    if newest is None or (first is None and newest is None):
        return
    start = month_of(first) if isinstance(first, date) else newest
    by_day = dict(own.select("exam_on", "n").iter_rows())
    facts = _facts_by_month(own)
    history: list[_Month] = []
    for month in iterate_months(start, last):
        one = _month_of(month, by_day, site=site, today=today, expected_day=expected_day)
        recent = history[-HISTORY_MONTHS:] if len(history) >= MIN_HISTORY_MONTHS else []
        expected, bound = _expected_of(one, recent)
        state, sentence = _state_of(one, recent, expected, bound)
        yield {
            "site_id": site.id,
            "month": month,
            "n_exams": one.n,
            "expected_exams": expected,
            "thin_below": bound,
            "expected_on": one.expected_on,
            "last_exam_on": one.last_exam_on,
            "state": state.value,
            "sentence": sentence,
            **facts.get(month, {"n_retracted": 0, "first_in_at": None}),
        }
        if one.n and one.is_over and state != IntakeState.PARTIAL:
            history.append(one)


def _facts_by_month(own: pl.DataFrame) -> dict[date, dict[str, Any]]:
    facts = own.group_by(month=pl.col("exam_on").dt.month_start()).agg(
        pl.col("n_retracted").sum(), pl.col("first_in_at").min()
    )
    return {row.pop("month"): row for row in facts.iter_rows(named=True)}


def _month_of(
    month: date, by_day: dict[date, int], *, site: Site, today: date, expected_day: int
) -> _Month:
    after = add_months(month, 1)
    dates = [month + number * _DAY for number in range((after - month).days)]
    days = [by_day.get(one, 0) for one in dates]
    last_of_after = (add_months(after, 1) - _DAY).day
    expected_on = after.replace(day=min(expected_day, last_of_after))
    return _Month(
        month,
        np.array(days, dtype=np.int64),
        np.array([n > 0 or not site.is_closed_on(one) for n, one in zip(days, dates, strict=True)]),
        is_over=today >= after,
        expected_on=expected_on,
        is_due=today > expected_on,
    )


def _expected_of(one: _Month, recent: list[_Month]) -> tuple[float | None, float | None]:
    """Exams expected of a month, and the limit below which it is thin, from those before it."""
    if not recent:
        return None, None
    counts = [past.n for past in recent]
    share = _open_share(one, recent)
    return share * sum(counts) / len(counts), share * thin_bound(counts, tail=THIN_TAIL)


def _open_share(one: _Month, recent: list[_Month]) -> float:
    """Open days' share of a month, each day weighted by the exams usual on its weekday."""
    if not one.n_closed:
        return 1.0
    exams = np.concatenate([past.n_by_day[past.is_open] for past in recent])
    usual = np.bincount(np.concatenate([past.weekdays for past in recent]), exams, minlength=7)
    every_day = (one.month.weekday() + np.arange(len(one.n_by_day))) % 7
    return float(usual[one.weekdays].sum() / max(usual[every_day].sum(), 1))


def _state_of(
    one: _Month, recent: list[_Month], expected: float | None, bound: float | None
) -> tuple[IntakeState, str]:
    name = month_name(one.month)
    if not one.is_over:
        return IntakeState.RUNNING, f"{name} is not over; {_exams(one.n)} so far."
    closed = f" {one.n_closed} closed days are left out." if one.n_closed else ""
    if not one.n and not one.is_open.any():
        return IntakeState.NOT_DUE, f"No exams of {name} are expected: the site was closed."
    if not one.n and one.is_due:
        return IntakeState.LATE, f"{name} is not in; it was expected by {_day(one.expected_on)}."
    if not one.n:
        return IntakeState.NOT_DUE, f"{name} is not in yet; expected by {_day(one.expected_on)}."
    pause = _longest_pause_of(recent) if recent else None
    if pause is not None and _ends_early(one, recent, pause=pause):
        assert one.last_exam_on is not None
        return IntakeState.PARTIAL, (
            f"The exams of {name} end on {_day(one.last_exam_on)}, {one.n_days_after} days before "
            f"the month does; the site's longest pause in its last {len(recent)} months was "
            f"{pause} days.{closed} {QUESTION}"
        )
    if bound is not None and one.n < bound:
        return IntakeState.THIN, (
            f"{_exams(one.n)} of {name}, where about {expected:.0f} were expected from the last "
            f"{len(recent)} months.{closed} {QUESTION}"
        )
    return IntakeState.IN, f"{_exams(one.n)} of {name}."


def _longest_pause_of(recent: list[_Month]) -> int:
    return longest_pause(np.concatenate([past.has_exams for past in recent]))


def _ends_early(one: _Month, recent: list[_Month], *, pause: int) -> bool:
    if one.n_days_after <= pause:
        return False
    chance = chance_of_pause(
        np.concatenate([past.has_exams for past in recent]),
        np.concatenate([past.weekdays for past in recent]),
        pause=one.weekdays[-one.n_days_after :],
    )
    return chance < PAUSE_TAIL


def _exams(n: int) -> str:
    return f"{n:,} exam{'s' * (n != 1)}"


def _day(day: date) -> str:
    return f"{day.day} {month_name(day)}"


def _with_closes(frame: pl.DataFrame, closes: pl.DataFrame, restated: pl.DataFrame) -> pl.DataFrame:
    """Closed months, what was restated since, and both in the sentence."""
    later = ["n_came_later", "n_changed_later", "n_left_later"]
    base = frame.drop("is_closed", "closed_at", *later, strict=False)
    joined = base.join(
        closes.select("month", closed_at="known_at"), on="month", how="left", maintain_order="left"
    ).join(restated, on=["site_id", "month"], how="left", maintain_order="left")
    is_closed = pl.col("closed_at").is_not_null()
    has_more = is_closed & (pl.sum_horizontal(later) > 0)
    words = pl.format(
        " Restated since it was closed: {} exams came later, {} changed, {} left.", *later
    )
    joined = joined.with_columns(pl.col(later).fill_null(0), is_closed=is_closed)
    sentence = pl.col("sentence") + pl.when(has_more).then(words).otherwise(pl.lit(""))
    return INTAKE_MONTHS.conform(joined.with_columns(sentence=sentence)).sort("site_id", "month")
