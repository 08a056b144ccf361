"""Birth date → age at the exam; expected ages are counted by hand on a calendar."""

import pytest

from qa.model.definitions import ColumnMap
from tests.unit.intake.invented import checked, codes_of, profile

BORN = ColumnMap("birth_date", ("Born",), is_optional=True)
WITHOUT_AGE = profile(BORN, without=("age_years",))


def age(born: str | None, exam: str = "05.03.2026 14:20", by=WITHOUT_AGE) -> int | None:
    accepted = checked({"Born": born, "Date": exam}, by=by).accepted
    assert accepted.height == 1, codes_of({"Born": born, "Date": exam}, by=by)
    return accepted["age_years"].item()


@pytest.mark.parametrize(
    ("born", "exam", "years"),
    [
        ("1975-03-06", "05.03.2026 10:00", 50),  # the day before the birthday
        ("1975-03-05", "05.03.2026 10:00", 51),  # the birthday
        ("1975-03-04", "05.03.2026 10:00", 51),
        ("1960-02-29", "28.02.2026 10:00", 65),
        ("1960-02-29", "01.03.2026 10:00", 66),
        ("1960-02-29", "29.02.2024 10:00", 64),
        ("2025-03-06", "05.03.2026 10:00", 0),
        ("2026-03-05", "05.03.2026 10:00", 0),
        ("1936-03-06", "05.03.2026 10:00", 89),  # one day before 90
        ("1936-03-05", "05.03.2026 10:00", 90),  # 90 and over is 90
        ("1926-03-05", "05.03.2026 10:00", 90),
        ("1975-12-31", "01.01.2026 10:00", 50),
        ("1975-03-05T00:00:00", "05.03.2026 10:00", 51),
        ("1975-06", "05.03.2026 10:00", 50),  # counts as the middle of June
        ("1975", "05.03.2026 10:00", 50),  # counts as 1 July
        (None, "05.03.2026 10:00", None),
    ],
)
def test_age_from_birth_in_full_years(born: str | None, exam: str, years: int | None):
    assert age(born, exam) == years


def test_age_from_birth_is_by_the_day_at_the_site():
    """East is in Berlin: 23:30 UTC on 4 March is the 5th there."""
    exam_at = ColumnMap("exam_at", ("Date",), date_format="%Y-%m-%d %H:%M%z")
    by = profile(BORN, exam_at, without=("age_years",))
    assert age("1975-03-05", "2026-03-04 23:30+00:00", by=by) == 51
    assert age("1975-03-05", "2026-03-04 22:30+00:00", by=by) == 50


def test_age_from_birth_in_the_format_of_the_profile():
    born = ColumnMap("birth_date", ("Born",), date_format="%d/%m/%Y")
    assert age("06/03/1975", by=profile(born, without=("age_years",))) == 50


def test_age_from_birth_goes_before_an_age_that_is_sent_too():
    assert checked({"Born": "1975-03-06", "Age": "60"}, by=profile(BORN)).accepted[
        "age_years"
    ].to_list() == [50]
    assert checked({"Born": None, "Age": "60"}, by=profile(BORN)).accepted[
        "age_years"
    ].to_list() == [60]


@pytest.mark.parametrize(
    ("born", "codes"),
    [
        ("06.03.1975", ["CHK-037"]),
        ("unknown", ["CHK-037"]),
        ("1975-02-30", ["CHK-037"]),
        ("2026-03-06", ["CHK-038"]),
        ("1905-03-06", []),
        ("1905-03-05", ["CHK-038"]),  # 121 years
    ],
)
def test_birth_date_that_is_none_or_does_not_fit_waits(born: str, codes: list[str]):
    assert codes_of({"Born": born}, by=WITHOUT_AGE) == codes


def test_birth_date_is_shown_nowhere():
    held = checked({"Born": "1961-13-47", "Stiffness": "x"}, by=WITHOUT_AGE)
    assert held.quarantined["found"].to_list() == [["(withheld)"]]
    moved = checked({"Born": "1961-07-19", "Fasted": "1961-07-19"}, by=WITHOUT_AGE)
    assert moved.quarantined["found"].to_list() == [["(withheld)"]]
    assert "1961" not in str(held.accepted.drop("birth_date_text", "birth_date_word").rows())


def test_birth_date_leaves_nothing_but_the_age_in_typed_columns():
    columns = set(checked({"Born": "1961-07-19"}, by=WITHOUT_AGE).accepted.columns)
    assert {name for name in columns if "birth" in name or "born" in name} == {
        "birth_date_text", "birth_date_word", "age_from_birth", "is_birth_date_read",
    }  # fmt: skip
