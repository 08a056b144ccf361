"""Codes that hold on some days only: who a code means is decided by the day of the exam."""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from qa.intake.mapping import pick_columns
from qa.intake.registers import registers_of
from qa.intake.rows import map_rows
from qa.model.definitions import Assignment, Device, Operator
from tests.unit.intake.invented import KEY, NETWORK, profile, raw

ANNA = Operator(
    "anna",
    "east",
    "X",
    assignments=(Assignment("east", "A", date(2026, 1, 1), date(2026, 3, 4)),),
)
BERT = Operator("bert", "east", "B", assignments=(Assignment("east", "A", date(2026, 3, 5)),))
MOVED = Device(
    "moved",
    "west",
    "7",
    ("pSWE",),
    assignments=(
        Assignment("west", to_day=date(2026, 3, 4)),
        Assignment("east", "1", from_day=date(2026, 3, 5)),
    ),
)
DATED = replace(NETWORK, operators=(ANNA, BERT), devices=(MOVED,))


def looked_up(day: str, site: str = "east") -> tuple[str | None, str | None]:
    rows = pick_columns(raw({"Date": f"{day} 12:00"}), profile=profile())
    rows = rows.with_columns(file_no=0, site_of_file=pl.lit(site))
    found = map_rows(rows, profile=profile(), registers=registers_of(DATED), key=KEY)
    return found["operator_id"][0], found["device_id"][0]


@pytest.mark.parametrize(
    ("day", "operator", "device"),
    [
        ("31.12.2025", None, None),
        ("01.01.2026", "anna", None),
        ("04.03.2026", "anna", None),
        ("05.03.2026", "bert", "moved"),
        ("05.03.2036", "bert", "moved"),
    ],
)
def test_map_rows_takes_who_had_the_code_on_the_day(
    day: str, operator: str | None, device: str | None
) -> None:
    assert looked_up(day) == (operator, device)


def test_map_rows_knows_no_code_of_another_site() -> None:
    assert looked_up("04.03.2026", site="west") == (None, None)


def test_map_rows_keeps_techniques_of_a_moved_device() -> None:
    registers = registers_of(DATED)
    assert registers.dated_devices["device_techniques"].to_list() == [["pSWE"], ["pSWE"]]
    assert registers.devices.is_empty()
    assert registers.operators.is_empty()
