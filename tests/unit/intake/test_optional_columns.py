"""What only some devices send, and the promises about units of ../shared/domain_values.json."""

import json
from pathlib import Path

import polars as pl
import pytest

from qa.intake.earlier_content import ADDED_LATER
from qa.intake.units import attenuation_in_db_m, stiffness_in_kpa
from qa.model.definitions import ColumnMap
from tests.unit.intake.invented import checked, codes_of, mapped, profile

SHARED = Path(__file__).parents[4] / "shared" / "domain_values.json"
MODES = (("auto", "fixed group"), ("own", "operator's choice"))
STATUS = tuple((word, word) for word in ("final", "amended", "entered-in-error", "cancelled"))
EXTRA = profile(
    ColumnMap("acquisition_mode", ("Mode",), codes=MODES),
    ColumnMap("pressure_in_range_pct", ("Pressure",)),
    ColumnMap("motion_in_range_pct", ("Motion",), scale=100.0),
    ColumnMap("quality_index_pct", ("Quality",)),
    ColumnMap("roi_depth_mm", ("Depth",), scale=10.0),
    ColumnMap("skin_to_capsule_mm", ("SCD",)),
    ColumnMap("duration_s", ("Time",)),
    ColumnMap("source_status", ("Status",), codes=STATUS),
)
SENT = {
    "Mode": "auto", "Pressure": "90", "Motion": "0.8", "Quality": "75", "Depth": "2.5",
    "SCD": "21", "Time": "160", "Status": "final",
}  # fmt: skip


def test_map_rows_takes_what_a_device_gives():
    row = mapped(SENT, by=EXTRA).row(0, named=True)
    expected = {
        "acquisition_mode": "fixed group",
        "pressure_in_range_share": 0.9,
        "motion_in_range_share": 0.8,
        "quality_index_share": 0.75,
        "roi_depth_mm": 25.0,
        "skin_to_capsule_mm": 21.0,
        "duration_s": 160.0,
        "source_status": "final",
    }
    assert {name: row[name] for name in expected} == pytest.approx(expected)


def test_map_rows_leaves_empty_what_a_device_does_not_give():
    row = mapped({}).row(0, named=True)
    assert [row[name] for name in ADDED_LATER] == [None] * len(ADDED_LATER)


@pytest.mark.parametrize(
    ("attempted", "n_attempted"), [("12", 12), ("", None), ("NA", None), ("10", 10)]
)
def test_unknown_attempts_are_not_the_valid_ones(attempted: str, n_attempted: int | None):
    accepted = checked({"Attempted": attempted}).accepted.row(0, named=True)
    assert (accepted["n_valid"], accepted["n_attempted"]) == (10, n_attempted)


@pytest.mark.parametrize(
    ("status", "is_retracted"),
    [("final", False), ("amended", False), ("entered-in-error", True), ("cancelled", True)],
)
def test_a_status_may_take_the_exam_back(status: str, is_retracted: bool):
    assert mapped(SENT | {"Status": status}, by=EXTRA)["is_retracted"].to_list() == [is_retracted]


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"Mode": "both"}, "CHK-005"),
        ({"Pressure": "101"}, "CHK-018"),
        ({"Motion": "1.1"}, "CHK-018"),
        ({"SCD": "-1"}, "CHK-018"),
        ({"Depth": "deep"}, "CHK-002"),
        ({"Status": "unheard of"}, "CHK-005"),
    ],
)
def test_checks_of_what_a_device_gives(change: dict[str, str], code: str):
    assert codes_of(SENT | change, by=EXTRA) == [code]


def test_columns_added_later_leave_the_hash_of_older_exams_alone():
    plain, empty = mapped({}), mapped(dict.fromkeys(SENT, ""), by=EXTRA)
    assert plain["row_hash"][0] == empty["row_hash"][0]


@pytest.mark.parametrize("heading", [heading for heading in SENT if heading != "Time"])
def test_columns_added_later_count_where_they_hold_something(heading: str):
    assert mapped({heading: SENT[heading]}, by=EXTRA)["row_hash"][0] != mapped({})["row_hash"][0]


@pytest.mark.skipif(
    not SHARED.exists(),
    reason="the values of the trade (../shared/domain_values.json) are not here",
)
def test_units_are_converted_as_the_trade_states():
    told = json.loads(SHARED.read_text(encoding="utf-8"))["conversion"]
    assert told["kpa_from_mps"].startswith("3*v**2 ")
    assert told["att"] == "dB/m / 100 / MHz = dB/cm/MHz"
    assert told["iqr"].startswith("never convert")
    speed, att = 1.7, 0.62
    kpa = pl.select(stiffness_in_kpa(pl.lit(speed), pl.lit("m/s"))).item()
    assert kpa == pytest.approx(3 * speed**2)
    db_m = attenuation_in_db_m(pl.lit(att), pl.lit("dB/cm/MHz"), frequency_mhz=3.0)
    assert pl.select(db_m).item() / 100 / 3.0 == pytest.approx(att)
    by = profile(ColumnMap("stiffness", ("LSM",), unit="m/s"))
    row = mapped({"LSM": "1.7", "LSM IQR": "0.2"}, by=by).row(0, named=True)
    assert (row["stiffness_iqr"], row["stiffness_unit"]) == (0.2, "m/s")


def test_a_column_whose_dates_all_fit_both_orders_is_refused_without_a_format():
    no_format = ColumnMap("exam_at", ("Date",))
    rows = [{"Exam": f"E{n}", "Date": f"0{n}/0{n + 1}/2026 10:00"} for n in range(1, 6)]
    result = checked(*rows, by=profile(no_format))
    assert result.accepted.is_empty()
    assert result.quarantined["codes"].to_list() == [["CHK-007"]] * 5
