"""Least squares with HC3 errors, against statsmodels; device effects on made-up exams."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from statsmodels.regression.linear_model import OLS

from qa.drift.device_effect import device_at_event, device_beside_others
from qa.stats.least_squares import fit_least_squares

EVENT = date(2026, 3, 1)


def test_coefficients_and_errors_equal_statsmodels():
    rng = np.random.default_rng(3)
    x = np.column_stack([np.ones(80), rng.normal(size=80), rng.integers(0, 2, 80)])
    y = x @ [1, 0.5, -0.2] + rng.normal(size=80) * (1 + x[:, 2])
    theirs = OLS(y, x).fit(cov_type="HC3", use_t=True)
    ours = fit_least_squares(x, y)
    assert ours.coefficients == pytest.approx(theirs.params)
    assert ours.se == pytest.approx(theirs.bse)
    assert ours.interval(1) == pytest.approx(tuple(theirs.conf_int()[1]))


def test_no_degrees_of_freedom_give_no_error():
    assert np.isnan(fit_least_squares(np.eye(2), [1, 2]).se).all()


def made_exams(*, bias: float, heavier_on_device: bool = False, n: int = 1600) -> pl.DataFrame:
    """Two devices, two operators; D1 reads `bias` times from the event on."""
    rng = np.random.default_rng(8)
    on_first = rng.random(n) < 0.5
    days = np.array([EVENT + timedelta(days=int(d)) for d in rng.integers(-300, 300, n)])
    is_after = np.array([day >= EVENT for day in days])
    is_heavy = rng.random(n) < np.where(on_first & heavier_on_device, 0.7, 0.2)
    log = rng.normal(np.log(6) + 0.3 * is_heavy, 0.25) + np.log(bias) * (on_first & is_after)
    return pl.DataFrame(
        {
            "device_id": np.where(on_first, "D1", "D2"),
            "operator_id": rng.choice(["A", "B"], n),
            "exam_on": list(days),
            "technique": "TE",
            "probe": "standard",
            "sex": rng.choice(["female", "male"], n),
            "indication": "viral",
            "bmi_kg_m2": np.where(is_heavy, 36.0, 24.0),
            "age_years": rng.integers(20, 80, n),
            "outcome": "reliable",
            "stiffness_kpa": np.exp(log),
            "is_stiffness_censored": False,
            "exam_at": datetime(2026, 1, 1, tzinfo=UTC),
        }
    )


def test_bias_of_eight_percent_is_found_at_the_event_and_beside_others():
    exams = made_exams(bias=1.08)
    at_event = device_at_event(exams, device_id="D1", event_on=EVENT)
    assert at_event.lower < 1.08 < at_event.upper
    assert at_event.is_seen
    assert "other devices' shift taken out" in at_event.words
    alone = exams.filter(pl.col("device_id") == "D1")
    other = device_at_event(alone, device_id="D1", event_on=EVENT)
    assert other.lower < 1.08 < other.upper
    beside = device_beside_others(exams, device_id="D1", until=date(2026, 12, 25))
    assert beside.lower < 1.08 < beside.upper


def test_other_patients_alone_are_no_effect():
    exams = made_exams(bias=1.0, heavier_on_device=True)
    beside = device_beside_others(exams, device_id="D1", until=date(2026, 12, 25))
    raw = exams.group_by("device_id").agg(pl.col("stiffness_kpa").log().mean()).sort("device_id")
    assert np.diff(raw["stiffness_kpa"])[0] < -0.1  # Unadjusted, D1 looks more than 10 % higher.
    assert not beside.is_seen
    assert not device_at_event(exams, device_id="D1", event_on=EVENT).is_seen


def test_too_few_exams_say_nothing():
    exams = made_exams(bias=1.2, n=40)
    assert device_beside_others(exams, device_id="D1", until=date(2026, 12, 25)).ratio is None
    assert device_at_event(exams, device_id="D1", event_on=EVENT).ratio is None
    assert device_at_event(exams.clear(), device_id="D1", event_on=EVENT).ratio is None
