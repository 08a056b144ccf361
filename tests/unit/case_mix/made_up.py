"""Made-up case-mix counts: months of exams with a body-mass index, a sex and a probe."""

from datetime import date

import numpy as np
import polars as pl

from qa.model.adjustment import Adjustment
from qa.model.case_mix_schemas import CASE_MIX_COLUMNS, CASE_MIX_COUNTS
from qa.model.definitions import Measure
from qa.stores.definitions import load_definitions

CRITERIA = "common-practice.v1"
ORDINARY = {
    "month": date(2026, 1, 1),
    "criteria_id": CRITERIA,
    "bmi": "under 25",
    "age": "53 to 64",
    "sex": "female",
    "probe": "standard",
    "technique": "TE",
    "indication": "viral",
    "occasion": "first",
}


def case_mix(rows: list[dict]) -> pl.DataFrame:
    """Rows may name any column; the others are ordinary, counts that are not named are 0."""
    zeros = dict.fromkeys(CASE_MIX_COLUMNS, 0)
    return CASE_MIX_COUNTS.conform(pl.DataFrame([{**ORDINARY, **zeros, **row} for row in rows]))


def unreliable() -> tuple[Measure, Adjustment]:
    definitions = load_definitions()
    measure = definitions.measure_by_key("unreliable")
    [found] = [one for one in definitions.adjustments.values() if one.measure == measure.id]
    return measure, found


def random_exams(n: int, *, seed: int) -> pl.DataFrame:
    """One row per exam: bmi, sex, technique as levels, and is_unreliable; seed stated."""
    rng = np.random.default_rng(seed)
    heavy, male, imaging = rng.integers(0, 3, n), rng.random(n) < 0.5, rng.random(n) < 0.2
    eta = -2.5 + 0.7 * (heavy == 1) + 1.4 * (heavy == 2) - 0.4 * male + 0.2 * imaging
    return pl.DataFrame(
        {
            "bmi": np.array(["under 25", "30 to under 35", "40 and over"])[heavy],
            "sex": np.where(male, "male", "female"),
            "technique": np.where(imaging, "2D-SWE", "TE"),
            "is_unreliable": rng.random(n) < 1 / (1 + np.exp(-eta)),
        }
    )


def counted(exams: pl.DataFrame) -> pl.DataFrame:
    sums = exams.group_by("bmi", "sex", "technique").agg(
        n_measured=pl.len(), n_unreliable=pl.col("is_unreliable").sum()
    )
    return case_mix(sums.to_dicts())
