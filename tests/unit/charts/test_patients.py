"""follow_patients: a month with heavier patients is held against what was to be expected."""

import math

import polars as pl
import pytest

from qa.charts.patients import follow_patients, shift_share

POINT = {
    "baseline_id": "b",
    "model_id": "m",
    "centre": 0.05,
    "event_weight": 10.0,
    "other_weight": 190.0,
    "n": 100,
    "expected": 5.0,
}
MIX = pl.DataFrame({"baseline_id": ["b"], "model_id": ["m"], "share": [0.05]})
FIELDS = ("centre", "event_weight", "other_weight")


def followed(mix: pl.DataFrame | None = MIX, **changed: object) -> tuple[float, ...]:
    frame = pl.DataFrame([{**POINT, **changed}], schema_overrides={"expected": pl.Float64})
    return follow_patients(frame, mix).select(FIELDS).row(0)


SAME = (0.05, 10.0, 190.0)


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, SAME),
        ({"expected": None}, SAME),
        ({"n": 0, "expected": 0.0}, SAME),
        ({"model_id": "other"}, SAME),
        # Odds of the month 1/9 against 1/19 in the baseline: the centre's odds grow by 19/9.
        ({"expected": 10.0}, (0.1, 20.0, 180.0)),
        # A unit that was twice as bad as expected in its baseline may stay so.
        ({"centre": 0.1, "expected": 10.0}, (0.19, 20.0, 180.0)),
        ({"centre": 0.0, "expected": 10.0}, (0.0, 20.0, 180.0)),
    ],
)
def test_centre_moves_with_the_odds_expected(changed: dict, expected: tuple) -> None:
    assert followed(**changed) == pytest.approx(expected, abs=5e-5)


def test_without_a_model_nothing_moves() -> None:
    assert followed(None) == SAME


def test_shift_share_adds_to_log_odds() -> None:
    assert shift_share([0.5, 0.0, 1.0], math.log(3)) == pytest.approx([0.75, 0.0, 1.0])
