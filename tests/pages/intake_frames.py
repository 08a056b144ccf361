"""A hand-made intake: every state of a month, rows that wait, a refused file."""

from datetime import date, datetime, timedelta

import polars as pl

from qa.model.schemas import FILES, INTAKE_MONTHS, QUARANTINED
from tests.pages.sample_counts import LAST, PUBLISHED_AT
from tests.pages.sample_published import SamplePublished, sample_published

BEFORE = date(2026, 9, 1)
STATES = ("in", "in", "thin", "partial", "in", "late")


def intake_published() -> SamplePublished:
    """October: in, in, thin, partial, in, late for S1 to S6; September is closed, restated at S1.

    Rows wait: three at S2 (two for CHK-012, two for CHK-039), one at S4, one that names no site.
    """
    return (
        sample_published()
        .with_frame("intake_months", _months())
        .with_frame("quarantined", _quarantined())
        .with_frame("files", _files())
    )


def _months() -> pl.DataFrame:
    rows = [_month(f"S{number}", LAST, state) for number, state in enumerate(STATES, start=1)]
    rows += [
        _month(site, BEFORE, "in", closed_at=PUBLISHED_AT, n_came_later=3 if site == "S1" else 0)
        for site in ("S1", "S2", "S3", "S4", "S5", "S6")
    ]
    return INTAKE_MONTHS.conform(pl.DataFrame(rows, infer_schema_length=None))


def _month(
    site: str,
    month: date,
    state: str,
    *,
    closed_at: datetime | None = None,
    n_came_later: int = 0,
) -> dict:
    return {
        "site_id": site,
        "month": month,
        "n_exams": 0 if state == "late" else 50,
        "n_retracted": 0,
        "expected_on": date(2026, 11, 3),
        "state": state,
        "sentence": f"{site} is {state}.",
        "is_closed": closed_at is not None,
        "closed_at": closed_at,
        "n_came_later": n_came_later,
        "n_changed_later": 0,
        "n_left_later": 0,
    }


def _row(site: str | None, row_no: int, *codes: str, found: str = "empty") -> dict:
    return {
        "file_id": f"file-{site}",
        "row_no": row_no,
        "site_id": site,
        "codes": list(codes),
        "columns": ["Unit"] * len(codes),
        "found": [found] * len(codes),
        "expected": ["kPa or m/s"] * len(codes),
        "profile_id": "plain.v1",
        "known_at": PUBLISHED_AT,
    }


def _quarantined() -> pl.DataFrame:
    rows = [
        _row("S2", 12, "CHK-012", "CHK-039"),
        _row("S2", 40, "CHK-012"),
        _row("S2", 41, "CHK-039", found="=cmd|' /C calc'!A0"),
        _row("S4", 7, "CHK-039"),
        _row(None, 3, "CHK-039"),
    ]
    return QUARANTINED.conform(pl.DataFrame(rows))


def _files() -> pl.DataFrame:
    sites = ["S1", "S2", "S3", "S4", None]
    rows = [_file(site, PUBLISHED_AT - timedelta(days=k)) for k, site in enumerate(sites)]
    problem = "[INT-001] s4-2026-10.xlsx: the file is empty."
    rows.append(_file("S4", PUBLISHED_AT, name="s4-2026-10.xlsx", problem=problem))
    return FILES.conform(pl.DataFrame(rows, infer_schema_length=None))


def _file(
    site: str | None, known_at: datetime, *, name: str | None = None, problem: str | None = None
) -> dict:
    return {
        "file_id": f"file-{name or site}",
        "name": name or f"{site}-2026-10.csv",
        "site_id": site,
        "profile_id": "plain.v1",
        "state": "refused" if problem else "read",
        "problem": problem,
        "n_rows": 50,
        "n_accepted": 47,
        "n_unchanged": 0,
        "n_quarantined": 3,
        "n_dropped_columns": 0,
        "known_at": known_at,
    }
