"""Adjusted funnels: heavier patients set nobody apart; who is worse with easy ones is found."""

import numpy as np
import polars as pl
import pytest
import scipy.stats

from qa.charts.compare import funnel_points
from qa.charts.fair_funnel import own_shares, standardised
from tests.unit.charts.frames import make_measure, make_series, month

COLUMNS = ("unit_id", "n_events", "n", "expected")


def funnel(units: list[tuple[int, int, float | None]], better: str = "lower") -> pl.DataFrame:
    """Units of one month: events, exams, events expected by the frozen model."""
    values = pl.concat(
        make_series([(events, n)], unit=f"operator:op-{number}", first=3).with_columns(
            expected=pl.lit(expected, dtype=pl.Float64)
        )
        for number, (events, n, expected) in enumerate(units, start=1)
    )
    return funnel_points(
        values, measures=[make_measure(better)], unit_kind="operator", to_month=month(3), months=3
    )


PEERS = [(50, 1000, 50.0), (52, 1000, 50.0), (48, 1000, 50.0)]


def test_heavier_patients_set_nobody_apart():
    raw = funnel([(e, n, None) for e, n, _ in [*PEERS, (120, 1000, 120.0)]])
    fair = funnel([*PEERS, (120, 1000, 120.0)])
    assert raw["state"].to_list()[-1] == "look"
    assert fair["state"].to_list() == ["steady"] * 4
    assert fair["ratio"].to_list() == pytest.approx([1.0, 1.04, 0.96, 1.0])
    assert raw["expected"].null_count() == raw["ratio"].null_count() == 4


def test_too_many_events_with_easy_patients_are_found():
    fair = funnel([*PEERS, (50, 1000, 20.0)])
    assert funnel([(e, n, None) for e, n, _ in [*PEERS, (50, 1000, 20.0)]])["state"][3] == "steady"
    assert fair["state"].to_list() == ["steady", "steady", "steady", "look"]


def test_expected_adds_up_to_what_was_found_in_the_period():
    """The network got worse as a whole; nobody is set apart by that."""
    fair = funnel([(100, 1000, 50.0), (104, 1000, 50.0), (38, 400, 20.0)])
    assert fair["expected"].sum() == pytest.approx(242)
    assert fair["state"].to_list() == ["steady"] * 3


def test_ratio_interval_is_exact_poisson():
    """Against scipy's chi-square, an independent form of Garwood's interval."""
    row = funnel([*PEERS, (8, 200, 4.0)]).row(3, named=True)
    lower = scipy.stats.chi2.ppf(0.025, 16) / 2 / row["expected"]
    upper = scipy.stats.chi2.ppf(0.975, 18) / 2 / row["expected"]
    assert (row["ratio_lower"], row["ratio_upper"]) == pytest.approx((lower, upper))
    assert row["adjusted"] == pytest.approx(row["ratio"] * row["centre"])


def test_a_unit_without_expectation_leaves_its_group_unadjusted():
    found = funnel([*PEERS, (120, 1000, None)])
    assert found["adjusted"].null_count() == 4
    assert found["state"][3] == "look"


def test_small_units_are_drawn_to_the_mean_and_large_ones_hardly():
    rng = np.random.default_rng(20283)
    shares = np.clip(rng.normal(0.10, 0.04, 40), 0.02, 0.3)
    sizes = np.where(np.arange(40) % 2, 30, 3000)
    units = [(int(n * p), int(n), n * 0.10) for n, p in zip(sizes, shares, strict=True)]
    found = funnel(units).with_columns(is_small=pl.col("n") < 100)
    drawn = (pl.col("shrunken") - pl.col("centre")).abs() / (
        pl.col("adjusted") - pl.col("centre")
    ).abs()
    medians = dict(found.group_by("is_small").agg(drawn.median().alias("part")).iter_rows())
    assert medians[False] > 0.9
    assert medians[True] < 0.7
    width = pl.col("shrunken_upper") - pl.col("shrunken_lower")
    assert (
        found.filter("is_small").select(width.min()).item()
        > found.filter(~pl.col("is_small")).select(width.max()).item()
    )
    assert found["phi"].unique().len() == 1
    assert found["tau2"][0] > 0


def test_common_events_are_standardised_on_the_rare_ones():
    """Nine of ten reliable expected, eight found: twice as many not reliable as expected."""
    assert standardised(np.array([0.8]), np.array([0.9]), np.array([0.95])) == pytest.approx(0.9)
    assert standardised(np.array([0.2]), np.array([0.1]), np.array([0.05])) == pytest.approx(0.1)


def test_own_shares_keep_groups_apart():
    expected, events = np.array([5.0, 5.0, 1.0]), np.array([10.0, 10.0, 0.0])
    own = own_shares(expected, events, np.array([50.0, 50.0, 10.0]), np.array([0, 0, 1]))
    assert own[:2] == pytest.approx([0.2, 0.2])
    assert np.isnan(own[2])
