import polars as pl
import pytest
from scipy import stats

from qa.signals.false_share import month_p_values
from qa.stats.multiplicity import benjamini_hochberg


def frame(*rows):
    """Points of one month: (measure, events, n, centre, exams of the baseline)."""
    points = pl.DataFrame(
        [
            {
                "unit_kind": "site",
                "unit_id": f"S{number}",
                "measure_id": measure,
                "baseline_id": f"B{number}",
                "phase": "monitoring",
                "n_events": events,
                "n": n,
                "centre": centre,
            }
            for number, (measure, events, n, centre, _) in enumerate(rows)
        ]
    )
    baselines = pl.DataFrame(
        [{"baseline_id": f"B{number}", "n": row[4]} for number, row in enumerate(rows)]
    )
    return points, baselines


def test_month_p_values_are_beta_binomial_tails_on_the_bad_side():
    """scipy's beta-binomial: an outside source of the same tails."""
    points, baselines = frame(("MSR-001", 4, 20, 0.05, 100), ("MSR-008", 15, 20, 0.95, 100))
    found = month_p_values(points, baselines, bad_sides={"MSR-001": 1, "MSR-008": -1})
    p = dict(found.select("unit_id", "p").iter_rows())
    assert p["S0"] == pytest.approx(stats.betabinom(20, 5.5, 95.5).sf(3))
    assert p["S1"] == pytest.approx(stats.betabinom(20, 95.5, 5.5).cdf(15))


def test_month_p_values_take_both_sides_where_neither_is_bad():
    points, baselines = frame(("MSR-012", 4, 20, 0.05, 100))
    found = month_p_values(points, baselines, bad_sides={})
    assert found["p"][0] == pytest.approx(2 * stats.betabinom(20, 5.5, 95.5).sf(3))


def test_month_p_values_are_adjusted_over_the_whole_month_and_sorted():
    points, baselines = frame(*(("MSR-001", events, 40, 0.05, 400) for events in (2, 9, 1, 7)))
    found = month_p_values(points, baselines, bad_sides={"MSR-001": 1})
    assert found["unit_id"].to_list() == ["S1", "S3", "S0", "S2"]
    assert found["adjusted_p"].to_list() == pytest.approx(
        stats.false_discovery_control(found["p"].to_numpy()).tolist()
    )
    assert found["adjusted_p"].to_list() == benjamini_hochberg(found["p"].to_numpy()).tolist()


def test_month_p_values_leave_baseline_months_and_empty_ones_out():
    points, baselines = frame(("MSR-001", 4, 20, 0.05, 100), ("MSR-001", 0, 0, 0.05, 100))
    points = points.with_columns(phase=pl.Series(["baseline", "monitoring"]))
    assert month_p_values(points, baselines, bad_sides={"MSR-001": 1}).is_empty()
