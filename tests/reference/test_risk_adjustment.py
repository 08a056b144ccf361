"""Risk-adjusted CUSUM, VLAD, its risk model and run lengths, learning curve. Sources: cases.toml.

The cardiac operations (R package spcadjust; Steiner et al. 2000 with noise added) are too many to
type in: those tests read the public file where it lies beside the project.
"""

import numpy as np
import pytest

from qa.stats.bernoulli_cusum import bernoulli_scores, lattice_cusum_arl, limit_for_series
from qa.stats.cusum import score_cusum
from qa.stats.fit_quality import auc, brier_score
from qa.stats.learning_curve import learning_cusum, learning_limit, learning_scores
from qa.stats.logistic import fit_logistic
from qa.stats.risk_adjusted import expected_minus_observed, risk_scores
from qa.stats.risk_adjusted_runs import risk_cusum_arl, risk_cusum_limit
from tests.reference.cases import all_cases, hold, shared_rows


def logistic(x):
    return 1 / (1 + np.exp(-x))


def test_weights_of_steiner():
    p = logistic(-3.68 + 0.077 * np.array([0, 50, 71]))

    def pairs(p, ratio):
        both = np.stack([risk_scores(0, p, odds_ratio=ratio), risk_scores(1, p, odds_ratio=ratio)])
        return both.T.ravel()

    weights = np.concatenate([pairs(p[:2], 2.0), pairs(p[:2], 0.5)])
    # Rigdon and Fricker's weights fit an intercept of -3.67, not the -3.68 of the paper.
    rigdon_p = logistic(-3.67 + 0.077 * np.array([19, 0]))
    rigdon = pairs(rigdon_p, 2.0)
    half = float(risk_scores(0, rigdon_p[0], odds_ratio=0.5))
    hold(
        "ra_cusum_weights_steiner",
        {
            "p_score_0": p[0],
            "p_score_0_printed": p[0],
            "p_score_50_printed": p[1],
            "p_score_71_printed": p[2],
            "weights": weights,
            "weights_printed_2000_OR2": weights[:4],
            "weights_printed_2014": weights,
            "rigdon_fricker_OR2_score19_y0_y1_score0_y0_y1": rigdon,
            "rigdon_fricker_printed": rigdon,
            "rigdon_fricker_OR_half_score19_y0": half,
        },
    )


@pytest.fixture(scope="module")
def operations():
    """Columns day, surgeon, score, death."""
    rows = shared_rows("ra_cusum_cardiac_surgery.csv")
    return np.array([[float(value) for value in row.values()] for row in rows]).T


@pytest.fixture(scope="module")
def baseline(operations):
    """Scores that occur before day 730, with operations and deaths of each."""
    day, _, score, death = operations
    scores, place = np.unique(score[day < 730], return_inverse=True)
    return scores, np.bincount(place), np.bincount(place, death[day < 730])


def fitted(baseline):
    scores, n, deaths = baseline
    return fit_logistic(np.column_stack([np.ones_like(scores), scores]), deaths, n)


def test_risk_model_of_the_cardiac_operations(operations, baseline):
    day, _, _, death = operations
    _, n, deaths = baseline
    fit = fitted(baseline)
    hold(
        "risk_model_logistic_cardiac",
        {
            "n_baseline": n.sum(),
            "deaths_baseline": deaths.sum(),
            "n_phase2": (day >= 730).sum(),
            "deaths_phase2": death[day >= 730].sum(),
            "intercept": fit.coefficients[0],
            "slope": fit.coefficients[1],
            "se_intercept": fit.standard_errors[0],
            "se_slope": fit.standard_errors[1],
            "deviance": fit.deviance,
            "auc_baseline": auc(fit.expected, deaths, n),
            "brier_baseline": brier_score(fit.expected, deaths, n),
            "sum_expected_equals_deaths": (fit.expected * n).sum(),
        },
    )


def surgeon_figures(p, y):
    up = score_cusum(risk_scores(y, p, odds_ratio=2.0))
    down = score_cusum(risk_scores(y, p, odds_ratio=0.5))
    found = {"n": len(y), "observed": y.sum(), "expected": p.sum(), "oe": y.sum() / p.sum()}
    found["vlad_final_expected_minus_observed"] = expected_minus_observed(y, p)[-1]
    for name, sums in (("upper", up), ("lower", down)):
        beyond = np.flatnonzero(sums > 2)
        found |= {f"max_{name}": sums.max(), f"max_{name}_at": sums.argmax() + 1}
        found[f"first_{name}_gt_2"] = beyond[0] + 1 if len(beyond) else "none"
        found[f"final_{name}"] = sums[-1]
    return found


def test_risk_adjusted_cusum_and_vlad_of_each_surgeon(operations):
    day, surgeon, score, death = operations
    p = logistic(-3.790 + 0.080 * score)
    entries = all_cases()["ra_cusum_cardiac_series"]["expected"]
    for number in range(1, 8):
        own = (day >= 730) & (surgeon == number)
        entry = entries[f"surgeon_{number}"]
        found = surgeon_figures(p[own], death[own])
        assert found.keys() == entry["value"].keys()
        for name, value in entry["value"].items():
            assert found[name] == pytest.approx(value, abs=entry["tolerance"]), (number, name)
    own = (day >= 730) & (surgeon == 2)
    scores = risk_scores(death[own], p[own], odds_ratio=2.0)
    calls = np.flatnonzero(score_cusum(scores, reset_at=2.0) >= 2.0) + 1
    signals = entries.keys() - {f"surgeon_{number}" for number in range(1, 8)}
    assert signals == {"surgeon_2_upper_signals_with_reset_h2"}
    assert calls.tolist() == entries["surgeon_2_upper_signals_with_reset_h2"]["value"]


def test_run_lengths_of_the_risk_adjusted_cusum(baseline):
    _, n, _ = baseline
    p = fitted(baseline).expected

    def arl(limit, ratio=2.0, true=1.0):
        return risk_cusum_arl(p, shares=n, limit=limit, odds_ratio=ratio, true_odds_ratio=true)

    hold(
        "ra_cusum_arl_cardiac",
        {
            "limit_for_arl0_370": risk_cusum_limit(p, shares=n, odds_ratio=2.0, arl=370.0),
            "arl0_h2": arl(2.0),
            "arl1_h2_true_OR2": arl(2.0, true=2.0),
            "arl0_h4_5": arl(4.5),
            "arl1_h4_5_true_OR2": arl(4.5, true=2.0),
            "arl0_h1": arl(1.0),
            "arl0_lower_h4_OR_half": arl(4.0, ratio=0.5),
        },
    )


def test_bernoulli_cusum():
    event, other = bernoulli_scores(p0=0.1, odds_ratio=2.0)
    limit, chance = limit_for_series(n=10, p0=0.1, odds_ratio=2.0, alpha=0.05)
    hold(
        "bernoulli_cusum_exact",
        {
            "limit": limit,
            "limit_exact": limit,
            "false_alarm_prob_at_limit": chance,
            "weight_failure": event,
            "weight_success": other,
            "arl_p010": lattice_cusum_arl(p=0.1, m=7, steps=24),
            "arl_p020": lattice_cusum_arl(p=0.2, m=7, steps=24),
        },
    )
    with pytest.raises(ValueError, match="too many"):
        limit_for_series(n=23, p0=0.1, odds_ratio=2.0, alpha=0.05)


# The sequence of the collected case: 1 is an exam that failed the rule.
LEARNING = [1, 1, 0, 0, 1, *[0] * 6, 1, *[0] * 18]


def test_learning_curve():
    failed, kept = learning_scores(acceptable=0.1, unacceptable=0.2)
    from_zero = learning_cusum(np.zeros(20), acceptable=0.1, unacceptable=0.2)
    hold(
        "lc_cusum_weights",
        {
            "weight_failure": failed,
            "weight_success": kept,
            "score": learning_cusum(LEARNING, acceptable=0.1, unacceptable=0.2),
            "successes_needed_from_zero_h1_25": int(np.flatnonzero(from_zero >= 1.25)[0]) + 1,
        },
    )
    with pytest.raises(ValueError, match="acceptable"):
        learning_scores(acceptable=0.2, unacceptable=0.1)


def test_learning_limit_is_reached_as_seldom_as_it_says():
    """Simulation, seed stated: 20,000 newcomers at the unacceptable rate."""
    limit = learning_limit(acceptable=0.1, unacceptable=0.25, n=60, wrongly=0.05)
    rng = np.random.default_rng(20264)
    failures = rng.random((60, 20_000)) < 0.25
    failed, kept = learning_scores(acceptable=0.1, unacceptable=0.25)
    highest = score_cusum(np.where(failures, failed, kept)).max(axis=0)
    assert (highest >= limit).mean() == pytest.approx(0.05, abs=0.006)
