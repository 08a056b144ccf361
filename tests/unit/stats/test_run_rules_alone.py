"""In-control run lengths of single rules, against simulation (seeds stated) and print."""

import numpy as np
import pytest

from qa.stats.run_rules import RUN_RULES
from qa.stats.run_rules_alone import alternating_arl, in_a_row_arl, rule_arl, steady_arl


def simulated(key: str, *, series: int = 400, length: int = 10_000) -> float:
    """Mean place of the first call in series of normal values, seed 31; long enough that all
    but a few in a million call."""
    rng = np.random.default_rng(31)
    gaps = []
    for _ in range(series // 40):
        z = rng.normal(size=40 * length)
        segments = np.repeat(np.arange(40), length)
        hits = RUN_RULES[key].finds(z, segments).reshape(40, length)
        gaps += [int(np.argmax(row)) + 1 for row in hits if row.any()]
    return float(np.mean(gaps))


@pytest.mark.parametrize("key", ["nelson-3", "nelson-4", "nelson-7"])
def test_rule_arl_equals_simulation_from_the_first_value(key):
    assert rule_arl(key) == pytest.approx(simulated(key), rel=0.15)


def test_rule_arl_equals_the_published_tables():
    """Champ and Woodall 1987, table 1: 370.40 for rule 1, 152.73 for rules 1 and 4 together."""
    assert rule_arl("western-electric-1") == pytest.approx(370.40, abs=0.01)


def test_in_a_row_arl_of_coins_is_two_to_the_power():
    """Feller: a run of r heads takes 2^(r + 1) - 2 throws on average."""
    assert [in_a_row_arl(0.5, r) for r in (1, 3, 8)] == pytest.approx([2, 14, 510])


def test_eight_beyond_one_sigma_is_a_run_of_successes():
    """P(|z| > 1) = 0.3173; Feller's formula by hand: (1 - p⁸) / ((1 - p) · p⁸)."""
    p = 0.31731050786
    assert rule_arl("nelson-8") == pytest.approx((1 - p**8) / ((1 - p) * p**8), rel=1e-6)


def test_steady_and_alternating_hardly_move_with_finer_nodes(monkeypatch):
    found = steady_arl(), alternating_arl()
    monkeypatch.setattr("qa.stats.run_rules_alone._NODES", 120)
    finer = steady_arl.__wrapped__(), alternating_arl.__wrapped__()
    assert found == pytest.approx(finer, rel=2e-3)
