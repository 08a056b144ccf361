"""A planted step of single exams is named with its month; newcomers are told from everybody."""

import numpy as np
import polars as pl
import pytest

from qa.drift.causes import ALIKE, DEVICE, NEWCOMERS, NOTHING, OPERATOR, Explained, Explanation
from qa.drift.exam_steps import Steps, find_steps, value_column
from qa.drift.weigh_steps import leaning_of, weights_of, with_newcomers
from tests.exam_tables import definitions
from tests.integrity_networks import Shape, assessed, honest_exams

RAISED = definitions().measure_by_key("stiffness_raised")
UNRELIABLE = definitions().measure_by_key("unreliable")
START = 8


def site(seed: int) -> pl.DataFrame:
    """A year of one site: four operators, two devices that all of them use."""
    rng = np.random.default_rng([11, seed])
    exams = assessed(honest_exams(rng, Shape(n_sites=1, exams=45)))
    devices = pl.Series(rng.choice(["dev-1", "dev-2"], exams.height))
    month = pl.col("month").rank("dense").cast(pl.Int64) - 1
    band = pl.when(pl.col("stiffness_kpa") > 0).then(pl.col("stiffness_kpa") >= 7).cast(pl.Int32)
    banded = exams.with_columns(device_id=devices, stiffness_band=band, place=month)
    return banded.with_columns(came=pl.col("place").min().over("patient_key"))


def times(exams: pl.DataFrame, factor: float, of: pl.Expr) -> pl.DataFrame:
    value = pl.col("stiffness_kpa")
    return exams.with_columns(stiffness_kpa=pl.when(of).then(value * factor).otherwise(value))


def test_device_that_reads_high_is_named_with_its_month_and_size():
    exams, after = site(1), pl.col("place") >= START
    found = find_steps(times(exams, 1.15, after & (pl.col("device_id") == "dev-2")), measure=RAISED)
    assert found.found is not None
    assert found.found.key == (DEVICE, (("device_id", "dev-2"),))
    assert found.found.first <= sorted(exams["month"].unique())[START] <= found.found.last
    assert found.lower < 1.15 < found.upper
    assert found.lower > 1


def test_patients_who_came_since_are_told_from_everybody_alike():
    exams = site(2)
    newer = find_steps(times(exams, 1.3, pl.col("came") >= START), measure=RAISED)
    assert newer.steps[0].key[0] == NEWCOMERS
    alike = find_steps(times(exams, 1.3, pl.col("place") >= START), measure=RAISED)
    assert alike.steps[0].key[0] == ALIKE


def test_operator_with_more_wide_spreads_is_named_by_events():
    exams = site(3)
    rng = np.random.default_rng(3)
    slips = pl.Series(rng.random(exams.height) < 0.2)
    hit = (pl.col("place") >= START) & (pl.col("operator_id") == exams["operator_id"][0]) & slips
    wide = exams.with_columns(outcome=pl.when(hit).then(pl.lit("unreliable")).otherwise("outcome"))
    found = find_steps(wide, measure=UNRELIABLE)
    assert found.found is not None
    assert found.found.key[0] == OPERATOR
    assert ("operator_id", exams["operator_id"][0]) in found.found.key[1]
    assert found.ratio is None


@pytest.mark.parametrize("measure", [RAISED, UNRELIABLE], ids=lambda one: one.key)
def test_quiet_site_names_nothing(measure):
    assert find_steps(site(4), measure=measure).found is None


@pytest.mark.parametrize("n_months", [0, 1, 3])
def test_too_few_months_give_no_step(n_months):
    few = site(5).filter(pl.col("place") < n_months)
    assert find_steps(few, measure=RAISED) == Steps(True, (), 1.0)


def test_only_results_have_values():
    assert value_column(RAISED) == "stiffness_kpa"
    assert value_column(UNRELIABLE) is None


def test_weights_add_up_and_newcomers_are_told_apart_again():
    steps = find_steps(times(site(2), 1.3, pl.col("came") >= START), measure=RAISED)
    weights = weights_of(steps)
    assert sum(weights.values()) == pytest.approx(1)
    assert leaning_of(steps, steps.steps[0].start) == {}
    explanations = tuple(
        Explanation(kind, (), weight, 0.0, 10) for kind, weight in ((ALIKE, 0.9), (NOTHING, 0.1))
    )
    told = with_newcomers(Explained(100, 10, 100, 20, 100_000, (), explanations), steps)
    assert told.explanations[0].kind == NEWCOMERS
    assert sum(one.weight for one in told.explanations) == pytest.approx(1)


def test_leaning_charges_events_for_the_start_that_was_looked_for():
    steps = find_steps(site(4), measure=UNRELIABLE)
    first = steps.steps[0]
    assert leaning_of(steps, first.start)[first.key] < 0
    assert weights_of(steps) is None
