"""What came in of each month: late, partial, thin, closed and restated."""

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from qa.intake.calendar import intake_months
from qa.model.definitions import Closure, Network, Settings, Site
from qa.model.months import add_months
from qa.model.schemas import INTAKE_MONTHS, MONTH_CLOSES, UTC_TIME
from qa.stores.warehouse_history import DAILY, RESTATED

JAN = date(2025, 1, 1)
LAST = date(2026, 1, 1)
"""The month asked about, after a year of two exams on every working day."""
AFTER = datetime(2026, 2, 20, 12, tzinfo=UTC)


def network(*sites: Site, **settings: int) -> Network:
    first = Site("north", "North", "UTC", "p")
    return Network("n", "N", True, sites or (first,), (), (), (), (), settings=Settings(**settings))


def working_days(first: date, last: date) -> list[date]:
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    return [one for one in days if one.weekday() < 5]


def arrivals(days: list[date], *, n: int = 2, site: str = "north") -> pl.DataFrame:
    rows = [(site, one, n, 0, datetime(2026, 2, 1, tzinfo=UTC)) for one in days]
    return pl.DataFrame(rows, schema=DAILY, orient="row")


def year() -> list[date]:
    return working_days(JAN, LAST - timedelta(days=1))


def look(frame: pl.DataFrame, *, at: datetime = AFTER, on: Network | None = None, **facts) -> dict:
    """The row of the last month of the site in the north."""
    closes = facts.get("closes", MONTH_CLOSES.empty())
    restated = facts.get("restated", pl.DataFrame(schema=RESTATED))
    found = intake_months(frame, closes=closes, restated=restated, network=on or network(), at=at)
    assert found.schema == INTAKE_MONTHS.to_polars()
    rows = found.filter(site_id="north", month=LAST)
    return rows.row(0, named=True)


def test_no_arrivals_give_an_empty_frame_with_the_schema():
    found = intake_months(
        pl.DataFrame(schema=DAILY),
        closes=MONTH_CLOSES.empty(),
        restated=pl.DataFrame(schema=RESTATED),
        network=network(),
        at=AFTER,
    )
    assert found.equals(INTAKE_MONTHS.empty())


def test_a_whole_month_is_in_with_what_was_expected():
    row = look(arrivals(year() + working_days(LAST, date(2026, 1, 31))))
    assert (row["state"], row["n_exams"]) == ("in", 44)
    assert row["expected_exams"] == pytest.approx(len(year()) * 2 / 12)
    assert row["last_exam_on"] == date(2026, 1, 30)


@pytest.mark.parametrize(
    ("day", "state"), [(1, "not due"), (10, "not due"), (11, "late"), (20, "late")]
)
def test_a_month_is_late_after_the_day_that_it_is_expected_by(day: int, state: str):
    row = look(arrivals(year()), at=datetime(2026, 2, day, 12, tzinfo=UTC))
    assert (row["state"], row["expected_on"]) == (state, date(2026, 2, 10))


def test_the_site_s_own_day_and_time_zone_decide():
    """It is the eleventh in Auckland twelve hours before it is so in UTC."""
    auckland = network(Site("north", "North", "Pacific/Auckland", "p"))
    at = datetime(2026, 2, 10, 12, tzinfo=UTC)
    assert look(arrivals(year()), at=at)["state"] == "not due"
    assert look(arrivals(year()), at=at, on=auckland)["state"] == "late"
    early = network(Site("north", "North", "UTC", "p", expected_day=9))
    assert look(arrivals(year()), at=at, on=early)["state"] == "late"


def test_the_running_month_is_neither_late_nor_thin():
    row = look(arrivals([*year(), LAST]), at=datetime(2026, 1, 20, tzinfo=UTC))
    assert (row["state"], row["n_exams"]) == ("running", 2)


@pytest.mark.parametrize(
    ("last", "state"),
    [(date(2026, 1, 14), "partial"), (date(2026, 1, 28), "partial"), (date(2026, 1, 29), "in")],
)
def test_a_month_that_ends_before_its_end_is_partial(last: date, state: str):
    """No pause of the year was longer than a weekend; the 31st of January is a Saturday."""
    row = look(arrivals(year() + working_days(LAST, last), n=4))
    assert row["state"] == state


def test_a_pause_as_long_as_one_of_the_last_year_is_no_end():
    holiday = [day for day in year() if not date(2025, 8, 1) <= day <= date(2025, 8, 17)]
    assert (
        look(arrivals(holiday + working_days(LAST, date(2026, 1, 14)), n=4))["state"] != "partial"
    )


@pytest.mark.parametrize(("n_days", "state"), [(22, "in"), (16, "in"), (12, "thin")])
def test_a_month_with_far_fewer_exams_is_thin(n_days: int, state: str):
    """Two a day, about 43 a month: by the limit, fewer than 26 are thin."""
    days = working_days(LAST, date(2026, 1, 31))
    row = look(arrivals(year() + days[-n_days:]))
    assert row["thin_below"] == pytest.approx(25.3, abs=1)
    assert row["state"] == state


def test_with_less_than_half_a_year_nothing_is_partial_or_thin():
    days = working_days(date(2025, 8, 1), LAST - timedelta(days=1))
    row = look(arrivals([*days, LAST]))
    assert (row["state"], row["expected_exams"]) == ("in", None)


def test_a_site_that_never_sent_begins_with_the_newest_month():
    both = network(Site("north", "North", "UTC", "p"), Site("south", "South", "UTC", "p"))
    frame = arrivals(year(), site="south")
    closes, restated = MONTH_CLOSES.empty(), pl.DataFrame(schema=RESTATED)
    found = intake_months(frame, closes=closes, restated=restated, network=both, at=AFTER)
    north = found.filter(site_id="north")
    assert north["month"].to_list() == [add_months(LAST, -1), LAST]
    assert set(north["state"]) == {"late"}


def test_closed_months_say_what_was_restated():
    frame = arrivals(year() + working_days(LAST, date(2026, 1, 31)))
    closed_at = datetime(2026, 2, 12, tzinfo=UTC)
    closes = pl.DataFrame({"month": [LAST], "closed_by": ["lead"], "known_at": [closed_at]}).cast(
        {"known_at": UTC_TIME}
    )
    restated = pl.DataFrame([("north", LAST, 3, 1, 2)], schema=RESTATED, orient="row")
    row = look(frame, closes=closes, restated=restated)
    assert (row["is_closed"], row["closed_at"], row["n_came_later"]) == (True, closed_at, 3)
    assert "3 exams came later, 1 changed, 2 left" in row["sentence"]


def closed_north(*periods: tuple[date, date]) -> Network:
    return network(
        Site("north", "North", "UTC", "p", closed=tuple(Closure(*one) for one in periods))
    )


def test_partial_and_thin_are_asked_as_a_question():
    half = working_days(LAST, date(2026, 1, 14))
    partial = look(arrivals(year() + half, n=4))
    thin = look(arrivals(year() + working_days(LAST, date(2026, 1, 31))[-12:]))
    for row in (partial, thin):
        assert row["sentence"].endswith("Is a part missing, or was the site closed?")


@pytest.mark.parametrize(
    ("closed", "state"),
    [
        ((date(2026, 1, 15), date(2026, 1, 31)), "in"),
        ((date(2026, 1, 17), date(2026, 1, 31)), "in"),  # two open days, as long as a weekend
        ((date(2026, 1, 18), date(2026, 1, 31)), "partial"),  # three
        ((date(2026, 1, 1), date(2026, 1, 13)), "partial"),
        ((date(2025, 1, 15), date(2025, 1, 31)), "partial"),
    ],
)
def test_closed_days_are_no_pause(closed: tuple[date, date], state: str):
    """Exams end on Wednesday, 14 January 2026."""
    frame = arrivals(year() + working_days(LAST, date(2026, 1, 14)), n=4)
    assert look(frame, on=closed_north(closed))["state"] == state


def test_closed_days_lower_what_is_expected_by_their_weekdays():
    """Closed on 12 of January's 22 working days: 10 of 22 of about 43.5 exams are expected."""
    days = working_days(LAST, date(2026, 1, 31))
    row = look(arrivals(year() + days[-10:]), on=closed_north((LAST, days[11])))
    assert row["state"] == "in"
    assert row["expected_exams"] == pytest.approx(10 / 22 * len(year()) * 2 / 12, rel=0.01)
    assert row["thin_below"] == pytest.approx(10 / 22 * 25.3, abs=1)
    few = look(arrivals(year() + days[-4:]), on=closed_north((LAST, days[11])))
    assert few["state"] == "thin"
    assert "16 closed days are left out." in few["sentence"]


def test_a_month_that_was_closed_whole_is_not_late():
    row = look(arrivals(year()), on=closed_north((date(2025, 12, 20), date(2026, 1, 31))))
    assert (row["state"], row["sentence"]) == (
        "not due",
        "No exams of January 2026 are expected: the site was closed.",
    )


def test_closure_of_a_past_month_does_not_lengthen_the_longest_pause():
    august = (date(2025, 8, 1), date(2025, 8, 17))
    days = [day for day in year() if not august[0] <= day <= august[1]]
    frame = arrivals(days + working_days(LAST, date(2026, 1, 14)), n=4)
    assert look(frame)["state"] != "partial"
    assert look(frame, on=closed_north(august))["state"] == "partial"
