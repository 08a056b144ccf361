"""Logistic fit on collapsed cells against statsmodels on rows (general-purpose library)."""

import numpy as np
import pytest
import statsmodels.api as sm

from qa.stats.fit_quality import auc, brier_score, calibration_bands
from qa.stats.logistic import fit_logistic


@pytest.fixture(scope="module")
def rows():
    """2,000 made-up exams with two factors of three and two levels; seed stated."""
    rng = np.random.default_rng(20265)
    first, second = rng.integers(0, 3, 2000), rng.integers(0, 2, 2000)
    eta = -2 + 0.8 * (first == 1) + 1.1 * (first == 2) - 0.4 * second
    design = np.column_stack([np.ones(2000), first == 1, first == 2, second]).astype(float)
    return design, (rng.random(2000) < 1 / (1 + np.exp(-eta))).astype(float)


def collapsed(design, y):
    cells, place = np.unique(design, axis=0, return_inverse=True)
    return cells, np.bincount(place, y), np.bincount(place)


def test_fit_on_cells_equals_statsmodels_on_rows(rows):
    design, y = rows
    fit = fit_logistic(*collapsed(design, y))
    other = sm.GLM(y, design, family=sm.families.Binomial()).fit(tol=1e-14)
    assert fit.is_converged
    assert fit.coefficients == pytest.approx(other.params, abs=1e-9)
    assert fit.standard_errors == pytest.approx(other.bse, abs=1e-9)
    assert fit.deviance == pytest.approx(other.deviance, abs=1e-7)


def test_quality_on_cells_equals_quality_on_rows(rows):
    design, y = rows
    cells, events, n = collapsed(design, y)
    p = fit_logistic(cells, events, n).expected
    by_row = p[np.unique(design, axis=0, return_inverse=True)[1]]
    pairs = by_row[y == 1][:, None] - by_row[y == 0]
    assert auc(p, events, n) == pytest.approx(((pairs > 0) + (pairs == 0) / 2).mean())
    assert brier_score(p, events, n) == pytest.approx(((by_row - y) ** 2).mean())


def test_calibration_bands_hold_every_exam_and_every_event(rows):
    design, y = rows
    cells, events, n = collapsed(design, y)
    bands = calibration_bands(fit_logistic(cells, events, n).expected, events, n, n_bands=4)
    assert sum(band.n for band in bands) == 2000
    assert sum(band.n * band.observed for band in bands) == pytest.approx(y.sum())
    assert sum(band.n * band.expected for band in bands) == pytest.approx(y.sum())


def test_a_level_without_events_runs_off_unless_held():
    design, events, n = np.array([[1.0, 0.0], [1.0, 1.0]]), [10, 0], [100, 50]
    assert abs(fit_logistic(design, events, n).coefficients[1]) > 15
    held = fit_logistic(design, events, n, ridge=0.1)
    assert held.is_converged
    assert -8 < held.coefficients[1] < -2


def test_rare_event_that_one_level_has_often_is_fitted():
    """Full steps from the overall share swing ever further here; a saturated fit has log odds by
    hand: ln(100/2771), and ln(25/68) less that."""
    found = fit_logistic([[1, 0], [1, 1]], [100, 25], [2871, 93])
    plain, often = np.log(100 / 2771), np.log(25 / 68)
    assert found.is_converged
    assert found.coefficients == pytest.approx([plain, often - plain])
