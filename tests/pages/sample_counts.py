"""Counts of a small invented network with one planted operator drift. Deterministic.

Facts that tests lean on:
- six sites; Merlin Court has no exams in the last month, Heron Mill only a few;
- operator 31 of Eider Point: unreliable exams from about 5 to about 20 % from July 2026 on;
- another criteria set judges from January 2026 on (same rules, version 2).
"""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import polars as pl

from qa.model.definitions import Device, InForce, Network, Operator, Site
from qa.model.months import add_months, iterate_months
from qa.model.published import Definitions
from qa.model.schemas import (
    COUNT_COLUMNS,
    GRADE_COUNTS,
    MONTHLY_COUNTS,
)
from qa.stores.definitions import load_definitions

FIRST, LAST = date(2024, 11, 1), date(2026, 10, 1)
DRIFT_FROM = date(2026, 7, 1)
SECOND_SET_FROM = date(2026, 1, 1)
PUBLISHED_AT = datetime(2026, 11, 3, 7, 30, tzinfo=UTC)
SITES = (
    ("S1", "Alder Sound", ("11", "12", "13")),
    ("S2", "Bracken Hill", ("21", "22")),
    ("S3", "Eider Point", ("31", "32", "33")),
    ("S4", "Gannet Lane", ("41", "42")),
    ("S5", "Heron Mill", ("51",)),
    ("S6", "Merlin Court", ("61", "62")),
)
TABLES = {"stiffness": "lsm_baveno7.v1", "attenuation": "att_karlas2017.v1"}


def sample_network() -> Network:
    return Network(
        id="sample",
        name="Harrow Isles Liver Network",
        is_invented=True,
        sites=tuple(Site(key, name, "Europe/London", "plain") for key, name, _ in SITES),
        operators=tuple(Operator(op, key, op) for key, _, ops in SITES for op in ops),
        devices=tuple(Device(f"D{key[1]}", key, f"D{key[1]}", ("TE",)) for key, _, _ in SITES),
        criteria=(
            InForce("common-practice.v1", date(2023, 11, 1)),
            InForce("common-practice.v2", SECOND_SET_FROM),
        ),
        grade_tables=tuple(
            InForce(table, date(2023, 11, 1), quantity, ("TE",))
            for quantity, table in TABLES.items()
        ),
    )


def sample_definitions() -> Definitions:
    loaded = load_definitions()
    first = loaded.criteria["common-practice.v1"]
    second = replace(first, id="common-practice.v2", version=2)
    return replace(loaded, criteria={**loaded.criteria, second.id: second})


def criteria_id(month: date) -> str:
    return "common-practice.v2" if month >= SECOND_SET_FROM else "common-practice.v1"


def _n_exams(site: str, month: date, rng: np.random.Generator) -> int:
    if site == "S6" and month == LAST:
        return 0
    if site == "S5":
        return 4 if month == LAST else int(rng.integers(14, 22))
    return int(rng.integers(45, 70))


def _count_row(site: str, operator: str, month: date, rng: np.random.Generator) -> dict | None:
    n = _n_exams(site, month, rng)
    if not n:
        return None
    is_drifting = operator == "31" and month >= DRIFT_FROM
    counts = {column.name: 0 for column in COUNT_COLUMNS}
    failed, incomplete = int(rng.binomial(n, 0.015)), int(rng.binomial(n, 0.02))
    measured = n - failed - incomplete
    unreliable = int(rng.binomial(measured, 0.20 if is_drifting else 0.05))
    recorded = int(
        rng.binomial(n, 0.75 if site == "S2" and month >= add_months(LAST, -1) else 0.94)
    )
    kept = int(rng.binomial(recorded, 0.97))
    att_bad = int(rng.binomial(measured, 0.3))
    counts |= {
        "n_exams": n + 1,
        "n_performed": n,
        "n_refused": 1,
        "n_judged": n,
        "n_reliable": measured - unreliable,
        "n_unreliable": unreliable,
        "n_incomplete": incomplete,
        "n_failed": failed,
        "n_measured": measured,
        "n_met": measured - unreliable,
        "n_attenuation_judged": measured,
        "n_attenuation_unreliable": att_bad,
        "n_attenuation_reliable": measured - att_bad,
        "n_fasting_recorded": recorded,
        "n_fasting_kept": kept,
        "n_fasting_breach": recorded - kept,
        "n_preparation_recorded": recorded,
        "n_preparation_kept": kept,
        "n_preparation_breach": recorded - kept,
        "n_repeats": int(rng.binomial(n, 0.03)),
        "n_large_patient_probe": int(rng.binomial(n, 0.25)),
        "n_stiffness_graded": measured,
        "n_stiffness_raised": int(rng.binomial(measured, 0.2)),
        "n_attenuation_graded": measured,
        "n_attenuation_raised": int(rng.binomial(measured, 0.6)),
    }
    return counts | {
        "site_id": site,
        "operator_id": operator,
        "device_id": f"D{site[1]}",
        "probe": "standard",
        "technique": "TE",
        "month": month,
        "criteria_id": criteria_id(month),
    }


def sample_counts() -> pl.DataFrame:
    rng = np.random.default_rng(7)
    rows = [
        _count_row(site, operator, month, rng)
        for site, _, operators in SITES
        for operator in operators
        for month in iterate_months(FIRST, LAST)
    ]
    return MONTHLY_COUNTS.conform(pl.DataFrame([row for row in rows if row]))


def sample_grades(counts: pl.DataFrame) -> pl.DataFrame:
    rng = np.random.default_rng(11)
    keys = [name for name in GRADE_COUNTS.names if name in MONTHLY_COUNTS.key]
    mixes = {"stiffness": (0.8, 0.1, 0.05, 0.03, 0.02), "attenuation": (0.4, 0.15, 0.1, 0.35)}
    rows = [
        {key: row[key] for key in keys}
        | {"quantity": quantity, "table_id": TABLES[quantity], "band": band, "n_exams": int(n)}
        for row in counts.iter_rows(named=True)
        for quantity, mix in mixes.items()
        for band, n in enumerate(rng.multinomial(row[f"n_{quantity}_graded"], mix))
    ]
    return GRADE_COUNTS.conform(pl.DataFrame(rows))
