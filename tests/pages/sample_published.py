"""A small published snapshot in memory, built from the sample frames; nothing is read from disk."""

from dataclasses import dataclass, field
from datetime import datetime
from functools import cache

import numpy as np
import polars as pl

from qa.model.case_mix_schemas import CASE_MIX_SCHEMAS
from qa.model.definitions import Network
from qa.model.equipment_schemas import EQUIPMENT_EVENTS
from qa.model.integrity import INTEGRITY
from qa.model.practice_schema import PRACTICE_MONTHS
from qa.model.published import Definitions
from qa.model.schemas import FILES, INTAKE_MONTHS, QUARANTINED, ROW_COUNTS, SIGNALS, Schema
from qa.stores.snapshots import JUDGED_EXAMS, PUBLISHED_SCHEMAS
from tests.pages.sample_charts import (
    sample_funnel,
    sample_points,
    sample_signals,
    sample_values,
    with_rows,
)
from tests.pages.sample_counts import (
    LAST,
    PUBLISHED_AT,
    sample_counts,
    sample_definitions,
    sample_grades,
    sample_network,
)


@dataclass(frozen=True)
class SamplePublished:
    """Implements qa.model.published.Published over frames held in memory."""

    frames: dict[str, pl.DataFrame]
    network: Network = field(default_factory=sample_network)
    definitions: Definitions = field(default_factory=sample_definitions)
    snapshot_id: str = "S20261103T073000Z-sample00"
    published_at: datetime = PUBLISHED_AT
    software_version: str = "0.1.0"

    def frame(self, name: str, **equal_to: object) -> pl.DataFrame:
        rows = self.frames[name]
        for column, wanted in equal_to.items():
            values = list(wanted) if isinstance(wanted, list | tuple | set) else [wanted]
            rows = rows.filter(pl.col(column).is_in(values, nulls_equal=True))
        return rows.sort(PUBLISHED_SCHEMAS[name].key)

    def with_frame(self, name: str, rows: pl.DataFrame) -> "SamplePublished":
        """The same snapshot with one frame put in its place."""
        return SamplePublished({**self.frames, name: PUBLISHED_SCHEMAS[name].conform(rows)})


def empty_published() -> SamplePublished:
    return SamplePublished({name: schema.empty() for name, schema in PUBLISHED_SCHEMAS.items()})


@cache
def sample_published() -> SamplePublished:
    counts = sample_counts()
    definitions = sample_definitions()
    values = sample_values(counts, list(definitions.measures.values()))
    points, baselines = sample_points(values, definitions.measures)
    signals = sample_signals(values)
    assert signals.schema == SIGNALS.to_polars()
    return SamplePublished(
        {
            "monthly_counts": counts,
            "row_counts": _row_counts(counts),
            "grade_counts": sample_grades(counts),
            "chart_points": points,
            "baselines": baselines,
            "funnel_points": sample_funnel(values),
            "signals": signals,
            "files": _files(),
            "quarantined": _quarantined(),
            "exams": _exams(counts),
            "intake_months": _intake_months(counts),
            "equipment_events": EQUIPMENT_EVENTS.empty(),
            "integrity": INTEGRITY.empty(),
            "practice_months": PRACTICE_MONTHS.empty(),
            **{schema.name: schema.empty() for schema in CASE_MIX_SCHEMAS},
        }
    )


def _row_counts(counts: pl.DataFrame) -> pl.DataFrame:
    sums = pl.col("n_rows", "n_rows_quarantined").sum()
    return with_rows(counts).group_by(ROW_COUNTS.key).agg(sums).select(ROW_COUNTS.names)


def _exams(counts: pl.DataFrame) -> pl.DataFrame:
    """The last month's exams that were not reliable, two reliable ones beside them per row."""
    rng = np.random.default_rng(3)
    rows = []
    for cell in counts.filter(pl.col("month") == LAST).iter_rows(named=True):
        outcomes = {
            "failed": cell["n_failed"],
            "incomplete": cell["n_incomplete"],
            "unreliable": cell["n_unreliable"],
            "reliable": 2,
        }
        for outcome, n in outcomes.items():
            rows += [_exam(cell, outcome, len(rows) + k, rng) for k in range(n)]
    return JUDGED_EXAMS.conform(pl.DataFrame(rows, infer_schema_length=None))


def _exam(cell: dict, outcome: str, number: int, rng: np.random.Generator) -> dict:
    n_valid = {"failed": 0, "incomplete": int(rng.integers(1, 10))}.get(outcome, 10)
    ratio = {"unreliable": 0.3 + 0.3 * rng.random(), "reliable": 0.15}.get(outcome)
    reasons = {
        "failed": ["no valid measurement"],
        "incomplete": ["too few valid"],
        "unreliable": ["spread"],
    }
    day = LAST.replace(day=1 + number % 28)
    return {name: cell[name] for name in ("site_id", "operator_id", "device_id", "month")} | {
        "exam_key": f"{number:08x}cafe",
        "version_no": 1,
        "patient_key": f"p{number:05d}",
        "technique": "TE",
        "probe": "standard",
        "performed": "performed",
        "order_type": "first",
        "n_valid": n_valid,
        "sex": "unknown",
        "is_stiffness_censored": False,
        "is_attenuation_censored": False,
        "is_date_nominal": False,
        "is_retracted": False,
        "exam_at": datetime(day.year, day.month, day.day, 9, tzinfo=PUBLISHED_AT.tzinfo),
        "exam_on": day,
        "flags": [],
        "file_id": f"file-{cell['site_id']}",
        "row_no": number + 1,
        "profile_id": "plain.v1",
        "row_hash": f"h{number}",
        "known_at": PUBLISHED_AT,
        "criteria_id": cell["criteria_id"],
        "outcome": outcome,
        "attenuation_outcome": "reliable" if n_valid == 10 else "not measured",
        "fasting": "kept",
        "rest": "not recorded",
        "position": "not recorded",
        "preparation": "kept",
        "reasons": reasons.get(outcome, []),
        "ratio_share": ratio,
        "is_met": outcome == "reliable",
        "is_repeat": False,
        "is_repeat_inferred": False,
        "is_session_first": True,
        "is_session_final": True,
    }


def _intake_months(counts: pl.DataFrame) -> pl.DataFrame:
    """Every site's last month: in, but for the sites that sent nothing."""
    sent = counts.filter(pl.col("month") == LAST).group_by("site_id").agg(n=pl.col("n_exams").sum())
    n_by_site = dict(sent.iter_rows())
    rows = [
        {
            "site_id": site.id,
            "month": LAST,
            "n_exams": n_by_site.get(site.id, 0),
            "n_retracted": 0,
            "expected_on": LAST.replace(month=11, day=3),
            "state": "in" if site.id in n_by_site else "late",
            "sentence": f"{n_by_site[site.id]} exams of October 2026."
            if site.id in n_by_site
            else "October 2026 is not in; it was expected by 3 November 2026.",
            "is_closed": False,
            **dict.fromkeys(("n_came_later", "n_changed_later", "n_left_later"), 0),
        }
        for site in sample_network().sites
    ]
    return INTAKE_MONTHS.conform(pl.DataFrame(rows))


def _files() -> pl.DataFrame:
    rows = [
        {
            "file_id": f"file-{site.id}",
            "name": f"{site.id.lower()}-2026-10.csv",
            "site_id": site.id,
            "profile_id": "plain.v1",
            "state": "read",
            "problem": None,
            "n_rows": 150,
            "n_accepted": 148,
            "n_unchanged": 0,
            "n_quarantined": 2 if site.id == "S2" else 0,
            "n_dropped_columns": 0,
            "known_at": PUBLISHED_AT,
        }
        for site in sample_network().sites
        if site.id != "S6"
    ]
    return FILES.conform(pl.DataFrame(rows, infer_schema_length=None))


def _quarantined() -> pl.DataFrame:
    rows = [
        {
            "file_id": "file-S2",
            "row_no": number,
            "site_id": "S2",
            "codes": ["CHK-003"],
            "columns": ["Unit"],
            "found": ["empty"],
            "expected": ["kPa or m/s"],
            "profile_id": "plain.v1",
            "known_at": PUBLISHED_AT,
        }
        for number in (12, 40)
    ]
    return QUARANTINED.conform(pl.DataFrame(rows))


@cache
def full_published() -> SamplePublished:
    """The sample with rows of every site in each frame that it leaves empty, for masking."""
    whole = sample_published()
    rows = {
        name: schema.conform(pl.DataFrame([_made_row(schema, *home) for home in _homes()]))
        for name, schema in PUBLISHED_SCHEMAS.items()
        if whole.frames[name].is_empty()
    }
    return SamplePublished({**whole.frames, **rows})


def _homes() -> list[tuple[str, str, str]]:
    """Site, operator and device, one row for each operator."""
    network = sample_network()
    devices = {one.site: one.id for one in network.devices}
    return [(one.site, one.id, devices[one.site]) for one in network.operators]


def _made_row(schema: Schema, site_id: str, operator_id: str, device_id: str) -> dict:
    """A row that belongs to somebody, with something in every column."""
    own = {"site_id": site_id, "operator_id": operator_id, "device_id": device_id}
    own |= {"unit_kind": "operator", "unit_id": operator_id}
    made = {
        pl.String: f"of {operator_id}",
        pl.Boolean: True,
        pl.Date: LAST,
        pl.Float64: 0.5,
        pl.List: [],
    }
    return {
        one.name: own.get(
            one.name,
            PUBLISHED_AT
            if one.dtype.base_type() is pl.Datetime
            else made.get(one.dtype.base_type(), int(operator_id)),
        )
        for one in schema.columns
    }
