"""Faulty rows of measurements: an exam waits as one, and flags what does not agree.

Each file holds two exams of ten readings, the first of them without fault; the readings
5.1 5.2 … 6.0 have the median 5.55 and, by type 7, the IQR 0.45 (numpy.quantile gives the same).
"""

from pathlib import Path

import numpy as np
import pytest

from tests.bad_exports.test_bad_exports import network, put, read

__all__ = ["network"]

READINGS = (5.1, 5.2, 5.3, 5.4, 5.5, 5.6, 5.7, 5.8, 5.9, 6.0)

# file, code, column, what is shown as found
HELD = [
    ("rows_of_one_exam_differ.csv", "CHK-033", "Exam", "two values or more in: Probe"),
    ("reading_impossible.csv", "CHK-034", "Reading kPa", "5.1 to 590.0"),
    ("reading_no_number.csv", "CHK-002", "Reading kPa", "(text of 4 characters)"),
    ("reading_marker_unknown.csv", "CHK-005", "Counts", "q7"),
    ("two_units_in_column.csv", "CHK-036", "Stiffness", "1.3"),
]

FLAGGED = [
    ("median_apart_from_readings.csv", "CHK-030"),
    ("iqr_apart_from_readings.csv", "CHK-031"),
    ("count_apart_from_readings.csv", "CHK-032"),
]


@pytest.mark.parametrize(
    ("name", "code", "column", "found"), HELD[:4], ids=[r[0] for r in HELD[:4]]
)
def test_run_intake_holds_the_exam_back(
    network: Path, name: str, code: str, column: str, found: str
):
    put(name, network, "shoal")
    report, exams, waiting = read(network)
    [row] = waiting.iter_rows(named=True)
    assert (row["row_no"], row["codes"], row["columns"]) == (11, [code], [column])
    assert row["found"] == [found]
    [kept] = exams.filter(site_id="shoal").iter_rows(named=True)
    assert (kept["row_no"], kept["n_valid"], kept["n_attempted"]) == (1, 10, 10)
    assert kept["stiffness_value"] == pytest.approx(np.quantile(READINGS, 0.5))
    assert kept["stiffness_iqr"] == pytest.approx(
        np.quantile(READINGS, 0.75) - np.quantile(READINGS, 0.25)
    )
    assert report.waiting == {code: 1}


@pytest.mark.parametrize(("name", "code"), FLAGGED)
def test_run_intake_flags_the_exam_and_lets_it_in(network: Path, name: str, code: str):
    put(name, network, "shoal")
    report, exams, _ = read(network)
    flags = exams.filter(site_id="shoal").sort("row_no")["flags"].to_list()
    assert flags == [[], [code]]
    assert report.is_clean


def test_run_intake_holds_back_what_could_be_of_either_unit(network: Path):
    name, code, column, found = HELD[4]
    put(name, network, "harbour")
    _, exams, waiting = read(network)
    assert waiting["row_no"].to_list() == [1, 2, 3]
    assert waiting["codes"].to_list() == [[code]] * 3
    assert (waiting["columns"][0].to_list(), waiting["found"][0].to_list()) == ([column], [found])
    assert exams.filter(site_id="harbour")["stiffness_value"].min() == 9.2
