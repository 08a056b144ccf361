"""Do values pile up on the good side of a limit? A smooth curve with and without a step there."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, xlogy

Floats = NDArray[np.float64]


def step_at_limit(
    counts: ArrayLike, rooms: ArrayLike, *, middles: ArrayLike
) -> tuple[float, float]:
    """Test for a drop of a density at a known limit.

    Args:
        counts: values in bins of equal width, in order.
        rooms: how many values each bin has room for (on a coarse scale bins differ); 0 or more.
        middles: middle of each bin over the limit, above 0; under 1 is the good side. No bin lies
            across the limit.
    Returns: (ratio just below over just above, one-sided p-value of a drop); (1.0, 1.0) where the
        bins hold too little to tell.
    Method: Poisson counts with log mean = log room + a + b x + c x² [+ d below the limit], x the
        log of the middle (a log-normal spread has just that shape), fitted by Newton; the signed
        root of twice the difference of log likelihoods is normal.
    Weak when: the density has a kink near the limit for another reason; few values beyond it.
    References: McCrary, J Econometrics 2008; 142: 698-714 (a density's step at a known place);
        the binned Poisson form is our own, its level is checked by simulation.
    """
    seen, room = np.asarray(counts, float), np.asarray(rooms, float)
    use = room > 0
    x = np.log(np.asarray(middles, float))
    below = (x < 0).astype(float)
    n_below = int((use & (x < 0)).sum())
    if seen[use].sum() < 20 or use.sum() < 6 or not 2 <= n_below <= use.sum() - 2:
        return 1.0, 1.0
    plain = np.column_stack([np.ones_like(x), x, x**2])[use]
    stepped = np.column_stack([plain, below[use]])
    without, _ = _fit(plain, seen[use], room[use])
    with_step, betas = _fit(stepped, seen[use], room[use])
    if betas[3] <= 0:
        return math.exp(betas[3]), 1.0
    root = math.sqrt(max(0.0, 2 * (with_step - without)))
    return math.exp(min(betas[3], 50.0)), float(ndtr(-root))


def _fit(design: Floats, counts: Floats, rooms: Floats) -> tuple[float, Floats]:
    """Log likelihood at its top and the coefficients; a weak ridge keeps empty sides finite."""
    betas = np.zeros(design.shape[1])
    betas[0] = math.log(counts.sum() / rooms.sum())
    ridge = 1e-3 * np.eye(len(betas))
    for _ in range(60):
        mean = rooms * np.exp(np.clip(design @ betas, -30, 30))
        slope = design.T @ (counts - mean) - ridge @ betas
        move = np.linalg.solve(design.T @ (design * mean[:, None]) + ridge, slope)
        betas = betas + np.clip(move, -2, 2)
        if np.max(np.abs(move)) < 1e-8:
            break
    mean = rooms * np.exp(np.clip(design @ betas, -30, 30))
    return float(np.sum(xlogy(counts, mean) - mean)), betas
