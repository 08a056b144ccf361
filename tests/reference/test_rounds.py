"""Algorithm A, scores of rounds, and multirules. Sources: cases.toml.

ISO 13528 annex C.3.1 and clause 9; Westgard et al., Clin Chem 1981; 27: 493-501.
"""

import numpy as np
import pytest
from scipy.stats import norm

from qa.stats.consensus import algorithm_a
from qa.stats.multirule import MULTIRULES, rules_broken
from qa.stats.scores import (
    NEGLIGIBLE,
    en_class,
    en_score,
    is_negligible,
    score_class,
    z_prime_score,
    z_score,
    zeta_score,
)
from tests.reference.cases import all_cases, data, hold

REACH = 1.5
EXACT = 1 / np.sqrt(
    2 * REACH**2 * norm.sf(REACH) + norm.cdf(REACH) - norm.cdf(-REACH) - 2 * REACH * norm.pdf(REACH)
)


def huber_mean(x, scale):
    """Another estimate, with the spread held at its start, as the collection lists it."""
    middle = np.median(x)
    for _ in range(200):
        middle = np.clip(x, middle - REACH * scale, middle + REACH * scale).mean()
    return middle


def test_algorithm_a_equals_copper_results():
    x = data("algorithm_a_copper_amc", "copper_ppm")[0]
    ours, exact = algorithm_a(x), algorithm_a(x, factor=EXACT)
    stopped = algorithm_a(x, third_figure=True)
    hold(
        "algorithm_a_copper_amc",
        {
            "start_mean": ours.steps[0][0],
            "start_sd": ours.steps[0][1],
            "mean_converged_1_134": ours.mean,
            "sd_converged_1_134": ours.sd,
            "mean_converged_exact_factor": exact.mean,
            "sd_converged_exact_factor": exact.sd,
            "iteration_1_mean_sd": list(ours.steps[1]),
            "stop_rule_third_figure_iteration": len(stopped.steps) - 1,
            "stop_rule_third_figure_mean_sd": [stopped.mean, stopped.sd],
            "exact_factor": EXACT,
            "huber_mad_fixed_scale_mean": huber_mean(x, 1.4826 * np.median(abs(x - np.median(x)))),
            "u_xpt_1_25_s_over_sqrt_p": ours.uncertainty,
        },
    )


def test_algorithm_a_equals_creosote_results():
    x = data("algorithm_a_creosote", "mean_percent")[0]
    ours, exact = algorithm_a(x), algorithm_a(x, factor=EXACT)
    stopped = algorithm_a(x, third_figure=True)
    hold(
        "algorithm_a_creosote",
        {
            "start_mean": ours.steps[0][0],
            "start_sd": ours.steps[0][1],
            "iteration_4_mean": exact.steps[4][0],
            "iteration_4_sd": exact.steps[4][1],
            "mean_converged": ours.mean,
            "sd_converged_1_134": ours.sd,
            "sd_converged_exact_factor": exact.sd,
            "trace_first_6_sd_1_134": [sd for _, sd in ours.steps[:7]],
            "stop_rule_third_figure_iteration": len(stopped.steps) - 1,
            "stop_rule_third_figure_sd": stopped.sd,
        },
    )


@pytest.mark.parametrize(
    ("results", "mean", "sd"), [([4.0], 4.0, 0.0), ([5.0, 5.0, 5.0], 5.0, 0.0)]
)
def test_algorithm_a_of_one_or_of_equal_results(results, mean, sd):
    found = algorithm_a(results)
    assert (found.mean, found.sd) == (mean, sd)


def test_algorithm_a_of_none_is_refused():
    with pytest.raises(ValueError, match="no results"):
        algorithm_a([])


def test_scores_equal_the_formulas_of_iso_13528():
    p = all_cases()["score_formulas_iso_13528"]["data"]
    z = z_score(p["x"], p["x_pt"], p["sigma_pt"])
    prime = z_prime_score(p["x"], p["x_pt"], p["sigma_pt"], u_assigned=p["u_xpt"])
    zeta = zeta_score(p["x"], p["x_pt"], u_x=p["u_x"], u_assigned=p["u_xpt"])
    en = en_score(p["x"], p["x_pt"], expanded_x=p["U_x"], expanded_assigned=p["U_xpt"])
    hold(
        "score_formulas_iso_13528",
        {
            "z": z,
            "z_prime": prime,
            "zeta": zeta,
            "En": en,
            "z_class": str(score_class(z)),
            "z_prime_class": str(score_class(prime)),
            "zeta_class": str(score_class(zeta)),
            "En_class": str(en_class(en)),
            "negligible_u_xpt_limit": NEGLIGIBLE * p["sigma_pt"],
            "z_at_2_class": str(score_class(2.0)),
            "z_at_3_class": str(score_class(-3.0)),
            "En_at_1_class": str(en_class(1.0)),
        },
    )
    assert not is_negligible(p["u_xpt"], p["sigma_pt"])


def test_multirules_call_where_the_sequences_say():
    table = all_cases()["westgard_sequences"]["data"]
    violated = [
        int(rule in rules_broken(z))
        for rule, z in zip(table["rule"], table["z_values"], strict=True)
    ]
    beyond = [2 * norm.sf(k) for k in (1, 2, 3)]
    hold(
        "westgard_sequences",
        {
            "violated": violated,
            "p_1_2s_single_value": beyond[1],
            "p_1_3s_single_value": beyond[2],
            "p_2_2s_two_values": 2 * norm.sf(2) ** 2,
            "p_R_4s_two_values": 2 * norm.sf(2) ** 2,
            "p_4_1s_four_values": 2 * norm.sf(1) ** 4,
            "p_10x_ten_values": 2 * 0.5**10,
        },
    )
    assert set(table["rule"]) == {rule.name for rule in MULTIRULES}


def test_r_4s_is_the_narrow_rule_of_1981():
    """+2.5 and -1.6 lie more than 4 apart, but only one is beyond 2."""
    assert rules_broken([2.5, -1.6]) == ()
    assert rules_broken([]) == ()
