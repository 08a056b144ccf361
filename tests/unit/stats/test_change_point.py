import numpy as np
import pytest

from qa.stats.change_point import change_month

STEP = [1, 2, 1, 6, 7, 6]


@pytest.mark.parametrize(
    ("events", "estimate", "first", "last"),
    [
        (STEP, 3, 3, 3),
        ([6, 7, 6], 0, 0, 0),  # from the first month on
        ([1, 2, 1, 2, 9], 4, 4, 4),  # only the last month
        ([9], 0, 0, 0),
    ],
)
def test_change_month_of_a_clear_step_names_it(events, estimate, first, last):
    found = change_month(events, [30] * len(events), centre=0.05)
    assert (found.estimate, found.first, found.last) == (estimate, first, last)
    assert 0.5 < found.share <= 1


def test_change_month_agrees_with_sums_over_a_fine_grid_of_shares():
    """The integral over the share after the change, done by brute force (weights Jeffreys')."""
    events, n, centre = np.array([2, 1, 4, 3, 5]), np.full(5, 30), 0.05
    grid = np.linspace(centre, 1, 200_001)[1:-1]
    prior = grid**-0.5 * (1 - grid) ** -0.5
    prior /= prior.sum()
    weights = []
    for start in range(5):
        x, size = events[start:].sum(), n[start:].sum()
        after = (prior * grid**x * (1 - grid) ** (size - x)).sum()
        x0, size0 = events[:start].sum(), n[:start].sum()
        weights.append(after * centre**x0 * (1 - centre) ** (size0 - x0))
    found = change_month(events, n, centre=centre)
    assert found.estimate == int(np.argmax(weights))
    assert found.share == pytest.approx(max(weights) / sum(weights), rel=1e-3)


def test_change_month_takes_a_centre_for_each_month():
    """A month whose patients let expect as much is no change."""
    flat = change_month([1, 2, 6, 1, 6, 7], [30] * 6, centre=0.05)
    known = change_month([1, 2, 6, 1, 6, 7], [30] * 6, centre=[0.05, 0.05, 0.2, 0.05, 0.05, 0.05])
    assert flat.first <= 2 < known.first


@pytest.mark.parametrize(("before", "after"), [(0.05, 0.10), (0.05, 0.15), (0.03, 0.06)])
def test_change_month_interval_holds_the_month_nine_times_in_ten(before, after):
    """400 simulated series (seed 11) of 24 months of 30 exams, the step in a random month."""
    rng, held = np.random.default_rng(11), 0
    for _ in range(400):
        step = rng.integers(0, 24)
        events = rng.binomial(30, np.where(np.arange(24) >= step, after, before))
        found = change_month(events, np.full(24, 30), centre=before)
        held += found.first <= step <= found.last
    assert held / 400 > 0.87
