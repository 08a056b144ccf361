"""Columns that come out of formats with coded content (FHIR, DICOM): one row per exam.

The built-in profiles in qa/definitions/profiles map exactly these headings.
"""

from collections.abc import Mapping
from datetime import date

from qa.model.errors import SourceFileError

EXAM_COLUMNS = (
    "exam_id",
    "patient_id",
    "operator",
    "device",
    "technique",
    "probe",
    "status",
    "absent_reason",
    "n_attempted",
    "n_valid",
    "stiffness",
    "stiffness_unit",
    "stiffness_iqr",
    "stated_ratio_pct",
    "attenuation",
    "attenuation_unit",
    "attenuation_iqr",
    "fasting_hours",
    "bmi",
    "height_cm",
    "weight_kg",
    "age_years",
    "sex",
    "duration_s",
    "depth_mm",
    "skin_to_capsule_mm",
    "exam_at",
)
"""Always there, in this order; single measurements follow as "measurement 1" and so on."""

MAX_MEASUREMENTS = 100
LOCAL_CODES = ("stiffness", "attenuation", "iqr", "iqr-to-median-ratio", "n-valid", "n-attempted",
               "measurement", "probe", "TE", "fasting-hours", "duration", "depth",
               "skin-to-capsule-distance", "bmi")  # fmt: skip
"""Codes of our own, for what no dictionary that was checked has a code for."""

PLAIN_UNIT = {"dB/(cm.MHz)": "dB/cm/MHz", "dB/cm/MHz": "dB/cm/MHz"}
"""UCUM writes one of the units differently; the others are the product's own words."""

COUNT_UNITS = ("", "1")


class FigureTwice(Exception):
    """A figure of one exam stands twice with different values; holds its column."""


class ExamCells(dict[str, str]):
    """Cells of one exam; a figure that comes twice must be the same."""

    def put(self, column: str, text: str) -> None:
        if text and self.setdefault(column, text) != text:
            raise FigureTwice(column)

    def put_measurement(self, text: str) -> None:
        number = sum(column.startswith("measurement ") for column in self) + 1
        if text and number <= MAX_MEASUREMENTS:
            self[f"measurement {number}"] = text


def with_unit(value: str, unit: str, *, wanted: tuple[str, ...]) -> str:
    """A value in the unit that its column has; in another unit it keeps it and so is no number.

    Example: "3", "h" in hours → "3"; "2", "d" in hours → "2 d", which the checks then hold back
    """
    is_count = wanted == COUNT_UNITS and unit.startswith("{")
    return value if not value or unit in wanted or is_count else f"{value} {unit}"


def age_at(birth_date: str, exam_at: str) -> str:
    """Full years at the exam, from ISO dates; "" where one of them is no full date.

    Example: born 1961-03-06, exam 2026-03-05 → "64"
    """
    try:
        born, on = date.fromisoformat(birth_date), date.fromisoformat(exam_at[:10])
    except ValueError:
        return ""
    years = on.year - born.year - ((on.month, on.day) < (born.month, born.day))
    return str(years) if years >= 0 else ""


def figure_twice(column: str, *, where: str) -> SourceFileError:
    return SourceFileError(
        f"{column} of one exam stands twice with different values",
        where=where,
        expected="each figure of an exam once",
        todo="Export one value, or one report for each exam",
        code="INT-036",
    )


def columns_in_order(found: Mapping[str, object] | list[str]) -> list[str]:
    """EXAM_COLUMNS, then the measurements that any exam has, by their number."""
    extra = [column for column in found if column.startswith("measurement ")]
    return [*EXAM_COLUMNS, *sorted(extra, key=lambda column: int(column.split()[1]))]
