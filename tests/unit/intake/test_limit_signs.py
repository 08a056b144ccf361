"""Values with a sign: at the device's limit they are marked censored, elsewhere they wait.

Limits in the tests: 75 kPa, 100 and 400 dB/m are the ends of the public survey's values (NHANES
2017-2018 LUX_J codebook).
"""

from dataclasses import replace
from typing import Any

import polars as pl
import pytest

from qa.intake.apply import Checked, apply_checks
from qa.intake.checks import ROW_CHECKS
from qa.intake.mapping import pick_columns
from qa.intake.registers import registers_of
from qa.intake.rows import map_rows
from qa.model.definitions import ColumnMap, Device, Operator, Profile
from qa.model.schemas import UTC_TIME
from qa.readers.fhir_codes import UCUM
from qa.readers.read import read_file
from qa.stores.settings import builtin_profiles
from tests.unit.intake.invented import KEY, NETWORK, NOW, checked, codes_of, profile, raw
from tests.unit.readers.writers import PEOPLE_AND_THINGS, bundle, stiffness

LIMITS = {"stiffness_limits_kpa": (1.5, 75.0), "attenuation_limits_db_m": (100.0, 400.0)}
KNOWN = profile(**LIMITS)
SPEED = profile(ColumnMap("stiffness", ("LSM",), unit="m/s"), **LIMITS)
COMMA = profile(**LIMITS, decimal=",")
BARE = {"LSM IQR": "", "Ratio": ""}


@pytest.mark.parametrize(
    ("cell", "value"),
    [(">75", 75.0), (">= 75.0", 75.0), ("≥75", 75.0), ("> 75 kPa", 75.0), ("<1.5", 1.5)],
)
def test_a_sign_at_the_limit_is_read_and_marked(cell: str, value: float) -> None:
    [row] = checked({"LSM": cell, **BARE}, by=KNOWN).accepted.to_dicts()
    assert (row["stiffness_value"], row["is_stiffness_censored"]) == (value, True)
    assert not row["is_attenuation_censored"]


def test_a_sign_at_the_limit_of_attenuation_and_with_a_decimal_comma() -> None:
    [row] = checked({"ATT": ">400", "ATT IQR": ""}, by=KNOWN).accepted.to_dicts()
    assert (row["attenuation_value"], row["is_attenuation_censored"]) == (400.0, True)
    [row] = checked({"LSM": ">75,0", **BARE}, by=COMMA).accepted.to_dicts()
    assert (row["stiffness_value"], row["is_stiffness_censored"]) == (75.0, True)


def test_a_speed_at_the_limit_is_compared_in_kpa() -> None:
    """3 × 5.0² = 75 kPa; the value stays as measured."""
    [row] = checked({"LSM": ">5.0", **BARE}, by=SPEED).accepted.to_dicts()
    assert (row["stiffness_value"], row["is_stiffness_censored"]) == (5.0, True)
    assert codes_of({"LSM": ">4.0", **BARE}, by=SPEED) == ["CHK-041"]


@pytest.mark.parametrize(
    ("row", "codes"),
    [
        ({"LSM": ">60"}, ["CHK-041"]),
        ({"LSM": "<75"}, ["CHK-041"]),
        ({"LSM": ">1.5"}, ["CHK-041"]),
        ({"ATT": "<400"}, ["CHK-041"]),
        ({"LSM": ">"}, ["CHK-002"]),
        ({"LSM": "> high"}, ["CHK-002"]),
        ({"LSM": "75>"}, ["CHK-002"]),
        ({"LSM": ">75,0"}, ["CHK-003"]),
        ({"LSM": "> 5 m/s"}, ["CHK-035"]),
        ({"LSM IQR": ">20"}, ["CHK-002"]),
        ({"Valid": ">10"}, ["CHK-002"]),
    ],
)
def test_a_sign_anywhere_else_waits(row: dict[str, str], codes: list[str]) -> None:
    assert codes_of({**BARE, **row}, by=KNOWN) == codes


def test_a_sign_waits_where_no_limit_is_known_and_says_where_to_state_it() -> None:
    [held] = checked({"LSM": ">75", **BARE}).quarantined.to_dicts()
    assert (held["codes"], held["found"]) == (["CHK-041"], [">75"])
    assert "[[devices]] in network.toml or [limits] in the profile" in held["expected"][0]


@pytest.mark.parametrize(
    ("device", "cells", "is_censored"),
    [
        ({"stiffness_limits_kpa": (2.0, 60.0)}, ("60", ">60"), [True, True]),
        ({"stiffness_limits_kpa": (2.0, 60.0)}, ("59.9", "2"), [False, True]),
        ({"stiffness_limits_kpa": (2.0, 90.0)}, ("75", "89"), [False, False]),
        ({}, ("75", ">75"), [True, True]),
    ],
    ids=["device", "device, below", "the device comes before the profile", "profile"],
)
def test_limits_of_the_device_come_before_those_of_the_profile(
    device: dict[str, Any], cells: tuple[str, str], is_censored: list[bool]
) -> None:
    accepted = _accepted(device, cells, by=KNOWN)
    assert accepted["is_stiffness_censored"].to_list() == is_censored


def test_a_comparator_of_fhir_counts_at_the_limit_that_network_toml_states() -> None:
    """valueQuantity.comparator of HL7 FHIR R4; the built-in profile knows no limits itself."""
    content = bundle(*PEOPLE_AND_THINGS, stiffness(valueQuantity=ABOVE))
    by = builtin_profiles()["fhir-r4"]
    picked = pick_columns(read_file(content, name="f", profile=by), profile=by)
    device = Device("east-1", "east", "SN-4", ("TE",), stiffness_limits_kpa=(1.5, 75.0))
    [row] = _checked(picked, device, by).accepted.to_dicts()
    assert (row["stiffness_value"], row["is_stiffness_censored"]) == (75.0, True)
    [held] = _checked(picked, replace(device, stiffness_limits_kpa=None), by).quarantined.to_dicts()
    assert (held["codes"], held["columns"], held["found"]) == (["CHK-041"], ["stiffness"], [">75"])


ABOVE = {"value": 75, "comparator": ">", "unit": "kPa", "system": UCUM, "code": "kPa"}


def _accepted(device: dict[str, Any], cells: tuple[str, ...], *, by: Profile) -> pl.DataFrame:
    first = NETWORK.devices[0]
    rows = [{"Exam": f"E{n}", "LSM": cell, **BARE} for n, cell in enumerate(cells)]
    return _checked(pick_columns(raw(*rows), profile=by), replace(first, **device), by).accepted


def _checked(picked: pl.DataFrame, device: Device, by: Profile) -> Checked:
    person = Operator("east-31", "east", "31")
    network = replace(
        NETWORK,
        devices=(device, *NETWORK.devices[1:]),
        operators=(person, *NETWORK.operators),
    )
    placed = picked.with_columns(
        file_no=pl.lit(0, pl.UInt32),
        site_of_file=pl.lit("east"),
        file_id=pl.lit("f"),
        profile_id=pl.lit(by.full_id),
        known_at=pl.lit(NOW, UTC_TIME),
    )
    mapped = map_rows(placed, profile=by, registers=registers_of(network), key=KEY)
    return apply_checks(mapped, checks=ROW_CHECKS, profile=by)
