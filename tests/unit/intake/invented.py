"""An invented network, profile and rows for the tests of intake."""

from datetime import UTC, datetime
from typing import Any

import polars as pl

from qa.intake.apply import Checked, apply_checks
from qa.intake.checks import ROW_CHECKS
from qa.intake.mapping import pick_columns
from qa.intake.registers import registers_of
from qa.intake.rows import map_rows
from qa.model.definitions import ColumnMap, Device, InForce, Network, Operator, Profile, Site
from qa.model.file_problems import ROW_NO
from qa.model.schemas import UTC_TIME

KEY = b"0f" * 32
NOW = datetime(2026, 11, 5, 8, 0, tzinfo=UTC)

NETWORK = Network(
    id="n",
    name="Invented",
    is_invented=True,
    sites=(Site("east", "East", "Europe/Berlin", "p"), Site("west", "West", "America/Lima", "p")),
    operators=(Operator("east-a", "east", "A"), Operator("west-a", "west", "A")),
    devices=(
        Device("east-1", "east", "1", ("TE", "2D-SWE")),
        Device("west-1", "west", "1", ("TE",)),
        Device("west-2", "west", "2", ()),
    ),
    criteria=(InForce("c.v1", NOW.date()),),
    grade_tables=(),
)

COLUMNS: dict[str, ColumnMap] = {
    column.target: column
    for column in (
        ColumnMap("exam_id", ("Exam",)),
        ColumnMap("patient_id", ("Patient",)),
        ColumnMap("exam_at", ("Date",), date_format="%d.%m.%Y %H:%M"),
        ColumnMap("operator", ("Operator",)),
        ColumnMap("device", ("Device",)),
        ColumnMap("technique", constant="TE"),
        ColumnMap("probe", ("Probe",), codes=(("S", "standard"), ("L", "large-patient"))),
        ColumnMap("performed", ("Done",), codes=(("1", "performed"), ("0", "refused"))),
        ColumnMap("n_attempted", ("Attempted",)),
        ColumnMap("n_valid", ("Valid",)),
        ColumnMap("stiffness", ("LSM",), unit="kPa"),
        ColumnMap("stiffness_iqr", ("LSM IQR",)),
        ColumnMap("stated_ratio_pct", ("Ratio",)),
        ColumnMap("attenuation", ("ATT",), unit="dB/m"),
        ColumnMap("attenuation_iqr", ("ATT IQR",)),
        ColumnMap("fasting_hours", ("Fasted",)),
        ColumnMap("age_years", ("Age",)),
    )
}

ROW: dict[str, str | None] = {
    "Exam": "E1", "Patient": "90210071", "Date": "05.03.2026 14:20", "Operator": "A",
    "Device": "1", "Probe": "S", "Done": "1", "Attempted": "12", "Valid": "10", "LSM": "9.2",
    "LSM IQR": "1.1", "Ratio": "12", "ATT": "220", "ATT IQR": "14", "Fasted": "3", "Age": "51",
}  # fmt: skip


def profile(*columns: ColumnMap, without: tuple[str, ...] = (), **changes: Any) -> Profile:
    """The usual profile with some columns given anew or left out."""
    mapped = {name: column for name, column in COLUMNS.items() if name not in without}
    mapped |= {column.target: column for column in columns}
    base: dict[str, Any] = {
        "id": "p", "version": 1, "title": "t", "format": "csv", "delimiter": ";",
        "encoding": "utf-8", "decimal": ".", "header_row": 1, "missing": ("", "NA"),
        "columns": tuple(mapped.values()),
    }  # fmt: skip
    return Profile(**(base | changes))


def raw(*rows: dict[str, str | None]) -> pl.DataFrame:
    """Source rows as a reader gives them, each the usual row with changes."""
    frame = pl.DataFrame([ROW | row for row in rows], infer_schema_length=None)
    frame = frame.with_columns(pl.all().cast(pl.String))
    return frame.insert_column(0, pl.Series(ROW_NO, range(1, len(rows) + 1), dtype=pl.Int32))


def mapped(
    *rows: dict[str, str | None],
    by: Profile | None = None,
    site: str | None = "east",
    known_at: datetime = NOW,
) -> pl.DataFrame:
    """Source rows → typed rows, as rows of one file of a site."""
    by = by or profile()
    picked = pick_columns(raw(*rows), profile=by).with_columns(
        file_no=pl.lit(0, pl.UInt32),
        site_of_file=pl.lit(site, pl.String),
        file_id=pl.lit("f"),
        profile_id=pl.lit(by.full_id),
        known_at=pl.lit(known_at, UTC_TIME),
    )
    return map_rows(picked, profile=by, registers=registers_of(NETWORK), key=KEY)


def checked(*rows: dict[str, str | None], by: Profile | None = None, **more: Any) -> Checked:
    by = by or profile()
    return apply_checks(mapped(*rows, by=by, **more), checks=ROW_CHECKS, profile=by)


def codes_of(*rows: dict[str, str | None], **more: Any) -> list[str]:
    """All codes that rows are held back or flagged with."""
    result = checked(*rows, **more)
    held = result.quarantined["codes"].explode().drop_nulls().to_list()
    return held + result.accepted["flags"].explode().drop_nulls().to_list()
