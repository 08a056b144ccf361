"""Integrity checks on small invented networks: nobody asked without cause, each fault asked about.

False questions over many networks: python -m tests.benchmarks integrity.
"""

from functools import cache

import numpy as np
import polars as pl
import pytest

from qa.drift.integrity import FINDERS, find_integrity
from qa.model.integrity import CHECKS, INTEGRITY, IntegrityState
from tests.integrity_networks import (
    Shape,
    assessed,
    copier,
    gamer,
    hider,
    homes_of,
    honest_exams,
    late_typist,
    one_iqr,
    plant,
    rounder,
    until_good,
    used_criteria,
)
from tests.integrity_survey import SURVEY_FILE, survey_exams

SEED = 20603
SMALL = Shape(n_sites=2, n_operators=3, exams=80)
ACCUSING = ("fraud", "cheat", "fake", "invented", "guilty", "manipulat", "liar", "falsif")


@cache
def honest() -> pl.DataFrame:
    return honest_exams(np.random.default_rng(SEED), SMALL)


def checked(exams: pl.DataFrame) -> pl.DataFrame:
    judged = assessed(exams)
    return find_integrity(judged, criteria=used_criteria(), homes=homes_of(judged))


def asked(exams: pl.DataFrame) -> set[tuple[str, str, str]]:
    found = checked(exams).filter(state=IntegrityState.ASKED.value)
    return set(found.select("check_id", "unit_kind", "unit_id").iter_rows())


def test_honest_network_is_not_asked() -> None:
    found = checked(honest())
    assert not found.filter(state=IntegrityState.ASKED.value).height
    assert found.height == sum(
        {"site": 2, "operator": 6, "device": 6}[kind] for one in CHECKS for kind in one.units
    )


@pytest.mark.parametrize(
    ("fault", "kind", "unit_id", "codes"),
    [
        (copier, "operator", "op-4", {"INT-001", "INT-002"}),
        (gamer, "operator", "op-4", {"INT-008"}),
        (rounder, "operator", "op-4", {"INT-005"}),
        (one_iqr, "operator", "op-4", {"INT-003"}),
        (late_typist, "operator", "op-4", {"INT-006", "INT-007", "INT-014"}),
        (until_good, "operator", "op-4", {"INT-010"}),
        (hider, "site", "site-1", {"INT-011"}),
    ],
)
def test_fault_is_asked_about(fault, kind: str, unit_id: str, codes: set[str]) -> None:
    faulty = plant(np.random.default_rng(SEED), honest(), unit_id, fault, kind=kind)
    found = asked(faulty)
    assert {code for code, one, unit in found if (one, unit) == (kind, unit_id)} >= codes
    innocent = {"op-0", "op-1", "op-2", "site-0", "op-3", "op-5"}
    assert not {unit for _, _, unit in found} & (innocent if kind == "operator" else {"site-0"})


def test_median_that_is_not_that_of_its_readings() -> None:
    moved = honest().with_columns(
        stiffness_value=pl.when(
            (pl.col("operator_id") == "op-2") & (pl.int_range(pl.len()) % 10 == 0)
        )
        .then(pl.col("stiffness_value") + 1.0)
        .otherwise("stiffness_value")
    )
    assert {code for code, _, unit in asked(moved) if unit == "op-2"} == {"INT-012"}


def test_jumps_of_a_patient_count_at_the_later_exam() -> None:
    rng = np.random.default_rng(SEED)
    own = honest().filter(operator_id="op-1").sort("exam_at")
    again = (
        own.head(60)
        .with_columns(
            exam_key=pl.format("{}-again", "exam_key"),
            exam_at=pl.col("exam_at") + pl.duration(days=20),
            exam_on=pl.col("exam_on") + pl.duration(days=20),
            stiffness_value=pl.col("stiffness_value") * 3,
            stiffness_kpa=pl.col("stiffness_kpa") * 3,
            stiffness_iqr=pl.col("stiffness_iqr") * 3,
            attenuation_value=pl.lit(pl.Series(rng.integers(150, 350, 60).astype(float))),
            measurements=pl.lit(None, dtype=pl.List(pl.Float64)),
            operator_id=pl.lit("op-2"),
            device_id=pl.lit("dev-2"),
        )
        .with_columns(month=pl.col("exam_on").dt.truncate("1mo"))
    )
    found = asked(pl.concat([honest(), again]))
    assert ("INT-015", "operator", "op-2") in found
    assert ("INT-015", "device", "dev-2") in found
    assert ("INT-015", "operator", "op-1") not in found


def test_times_of_a_timetable_cannot_tell() -> None:
    grid = honest().with_columns(pl.col("exam_at").dt.truncate("5m"))
    states = checked(grid).filter(pl.col("check_id").is_in(["INT-006", "INT-007", "INT-013"]))
    assert set(states["state"]) == {IntegrityState.CANNOT_TELL}


def test_few_exams_are_too_few_and_none_are_none() -> None:
    few = honest().filter(pl.col("exam_on").dt.month() == 1, operator_id="op-0").head(15)
    states = set(checked(few)["state"])
    assert states <= {IntegrityState.TOO_FEW, IntegrityState.CANNOT_TELL}
    none = checked(honest().clear())
    assert none.equals(INTEGRITY.empty())


def test_order_of_rows_is_irrelevant() -> None:
    faulty = plant(np.random.default_rng(SEED), honest(), "op-4", copier)
    shuffled = faulty.sample(fraction=1.0, shuffle=True, seed=3)
    assert checked(faulty).equals(checked(shuffled))


@pytest.mark.skipif(not SURVEY_FILE.exists(), reason="the open survey (../shared) is not here")
def test_open_survey_is_asked_about_its_limit_only() -> None:
    """Counted from the file: of ten or more valid, 85 ratios from 0.28 to 0.30, 12 above to 0.32.

    Its protocol asks for a spread under 30 %, so examiners may have gone on until it fitted.
    """
    exams, criteria = survey_exams()
    enough = exams.filter(pl.col("n_valid") >= 10)
    percent = 100 * (10 * enough["stiffness_iqr"]).round().cast(pl.Int64)  # in tenths: exact
    median = (10 * enough["stiffness_value"]).round().cast(pl.Int64)
    assert ((percent >= 28 * median) & (percent < 30 * median)).sum() == 85
    assert ((percent > 30 * median) & (percent < 32 * median)).sum() == 12
    found = find_integrity(exams, criteria=criteria, homes=homes_of(exams))
    questions = found.filter(state=IntegrityState.ASKED.value)
    assert set(questions["check_id"]) == {"INT-008"}
    assert "survey" in questions["unit_id"]


@pytest.mark.parametrize("check", CHECKS, ids=lambda one: one.code)
def test_check_is_a_question_with_an_honest_answer(check) -> None:
    assert check.code in FINDERS
    assert check.question.endswith("?")
    assert check.innocent
    assert check.method
    words = f"{check.title} {check.question} {check.innocent}".casefold()
    assert not [one for one in ACCUSING if f" {one}" in f" {words}"]
