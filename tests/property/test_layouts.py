"""Written in any layout and read back, the readings of an exam are the same readings.

Three layouts: one row per exam with median and IQR worked out by numpy, ten columns, one row per
measurement in any order. Quartiles: numpy.quantile(method="linear") is type 7 of Hyndman and Fan.
"""

from collections.abc import Sequence

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.intake.mapping import check_headings, pick_columns
from qa.intake.profile_check import check_profile
from qa.intake.registers import registers_of
from qa.intake.rows import map_rows
from qa.model.definitions import Profile
from qa.model.file_problems import ROW_NO
from qa.model.parsing import parse_profile
from qa.readers.read import read_file
from tests.property.strategies import small_and_fixed
from tests.unit.intake.invented import KEY, NETWORK

MOST = 12
COMMON = """
id = "p"
version = 1
title = "p"
[file]
delimiter = ";"
decimal = ","
missing = ["-"]
[columns.exam_id]
headings = ["Exam"]
[columns.patient_id]
headings = ["Patient"]
[columns.exam_at]
headings = ["Date"]
[columns.operator]
constant = "A"
[columns.device]
constant = "1"
[columns.technique]
constant = "TE"
"""
IN_COLUMNS = """
[measurements]
layout = "columns"
headings = ["Reading *"]
quartile_type = 7
unit = "kPa"
"""
IN_ROWS = """
[measurements]
layout = "rows"
headings = ["Reading"]
quartile_type = 7
unit = "kPa"
order_heading = "No"
"""
AS_FIGURES = """
[columns.stiffness]
headings = ["Median"]
unit = "kPa"
[columns.stiffness_iqr]
headings = ["IQR"]
[columns.n_valid]
headings = ["Valid"]
"""

tenths = st.integers(15, 750).map(lambda n: n / 10)
exams = st.lists(st.lists(tenths, min_size=1, max_size=MOST), min_size=1, max_size=6)


def profile(layout: str) -> Profile:
    found = parse_profile(COMMON + layout, where="p")
    check_profile(found)
    return found


def text_of(value: float) -> str:
    return repr(value).replace(".", ",")


def read_back(headings: Sequence[str], rows: Sequence[Sequence[str]], layout: str) -> pl.DataFrame:
    by = profile(layout)
    content = "\n".join(";".join(row) for row in [headings, *rows]).encode() + b"\n"
    raw = read_file(content, name="f.csv", profile=by)
    check_headings([one for one in raw.columns if one != ROW_NO], profile=by, name="f.csv")
    picked = pick_columns(raw, profile=by).with_columns(
        file_no=pl.lit(0, pl.UInt32), site_of_file=pl.lit("east")
    )
    rows_read = map_rows(picked, profile=by, registers=registers_of(NETWORK), key=KEY)
    return rows_read.sort("exam_key")


def start(number: int) -> list[str]:
    return [f"E{number}", f"P{number}", f"2026-03-{number + 1:02d} 10:00"]


def iqr_of(readings: Sequence[float]) -> float | None:
    low, high = np.quantile(readings, [0.25, 0.75], method="linear")
    return float(high - low) if len(readings) > 1 else None


@small_and_fixed
@given(exams, st.randoms(use_true_random=False))
def test_layouts_give_the_same_exams(values: list[list[float]], random) -> None:
    columns = [f"Reading {number}" for number in range(1, MOST + 1)]
    wide = [
        start(n) + [text_of(one) for one in readings] + ["-"] * (MOST - len(readings))
        for n, readings in enumerate(values)
    ]
    long = [
        [*start(n), str(no), text_of(one)]
        for n, readings in enumerate(values)
        for no, one in enumerate(readings, start=1)
    ]
    random.shuffle(long)
    head = ["Exam", "Patient", "Date"]
    of_columns = read_back([*head, *columns], wide, IN_COLUMNS)
    of_rows = read_back([*head, "No", "Reading"], long, IN_ROWS)
    for frame in (of_columns, of_rows):
        assert sorted(frame["measurements"].to_list()) == sorted(values)
    same = ["exam_key", "patient_key", "measurements", "n_valid", "n_attempted", "stiffness_value",
            "stiffness_iqr", "stiffness_kpa", "exam_at", "row_hash"]  # fmt: skip
    assert of_columns.select(same).equals(of_rows.select(same))
    for row in of_columns.iter_rows(named=True):
        readings = row["measurements"]
        assert row["stiffness_value"] == pytest.approx(np.quantile(readings, 0.5))
        assert row["stiffness_iqr"] == pytest.approx(iqr_of(readings))
        assert (row["n_valid"], row["n_attempted"]) == (len(readings), None)


@small_and_fixed
@given(exams)
def test_figures_and_readings_of_an_exam_agree(values: list[list[float]]) -> None:
    """What a device would state, written to one decimal, is never flagged beside its readings."""
    columns = [f"Reading {number}" for number in range(1, MOST + 1)]
    rows = []
    for n, readings in enumerate(values):
        median, iqr = float(np.quantile(readings, 0.5)), iqr_of(readings)
        stated = [text_of(round(median, 1)), "-" if iqr is None else text_of(round(iqr, 1))]
        cells = [text_of(one) for one in readings] + ["-"] * (MOST - len(readings))
        rows.append([*start(n), *stated, str(len(readings)), *cells])
    head = ["Exam", "Patient", "Date", "Median", "IQR", "Valid"]
    layout = IN_COLUMNS.replace('unit = "kPa"\n', "") + AS_FIGURES
    frame = read_back([*head, *columns], rows, layout)
    for name in ("is_median_near", "is_iqr_near", "is_count_of_readings"):
        assert frame[name].drop_nulls().all(), name
