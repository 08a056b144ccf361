"""The closed form against the whole covariance written out, by scipy's normal density."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from qa.stats.step_evidence import LevelledValues

N_MONTHS, SHIFT_SPREAD = 8, 0.4


def made(seed, *, step=0.0):
    rng = np.random.default_rng(seed)
    month = np.sort(rng.integers(0, N_MONTHS, 240))
    patient = rng.integers(0, 150, 240)
    group = rng.random(240) < 0.5
    design = np.column_stack([np.ones(240), group, ~group]).astype(float)
    own = rng.normal(0, 0.8, 150)[patient]
    values = own + rng.normal(0, 0.3, 240) + step * (group & (month >= 5))
    model = LevelledValues(
        values, design, month, patient=patient, n_months=N_MONTHS, spread=[3.0, 0.3, 0.3]
    )
    return model, values, design, month, patient, group


def test_factor_equals_ratio_of_two_normal_densities():
    """The variances are those that the model took; all else is written out here."""
    model, values, design, month, patient, group = made(1, step=0.3)
    found = model.steps([group], shift_spread=SHIFT_SPREAD)
    same = patient[:, None] == patient[None, :]
    tie = model.tie  # between / (noise + n between), so between = tie noise / (1 - n tie)
    n = np.bincount(patient)[patient]
    between = (tie * model.noise / (1 - n * tie))[0]
    spread = np.diag([9.0, 0.09, 0.09])
    plain = model.noise * np.eye(240) + between * same + design @ spread @ design.T
    for start in (3, 5):
        moved = (group & (month >= start)).astype(float)
        stepped = plain + SHIFT_SPREAD**2 * np.outer(moved, moved)
        both = [multivariate_normal(cov=one).logpdf(values) for one in (stepped, plain)]
        assert found.log_factor[0, start] == pytest.approx(both[0] - both[1], abs=1e-6)


def test_patients_who_come_again_tell_a_step_better_than_others():
    """The same values with every exam a patient of its own say less."""
    model, values, design, month, _, group = made(2, step=0.4)
    alone = LevelledValues(
        values, design, month, patient=np.arange(240), n_months=N_MONTHS, spread=[3.0, 0.3, 0.3]
    )
    again, once = (one.steps([group], shift_spread=0.4).log_factor[0, 5] for one in (model, alone))
    assert again > once + 2
    size, error = model.size_of(group & (month >= 5))
    assert abs(size - 0.4) < 3 * error


def test_without_a_step_a_tenfold_factor_comes_once_in_ten_at_most():
    """A Bayes factor is 1 on average where nothing stepped, so by Markov's inequality 10 and more
    come at most once in ten."""
    factors = []
    for seed in range(20, 60):
        model, *_, group = made(seed)
        factors.append(np.exp(model.steps([group], shift_spread=0.4).log_factor[0, 2:7]).mean())
    assert np.mean(np.array(factors) >= 10) <= 0.1
