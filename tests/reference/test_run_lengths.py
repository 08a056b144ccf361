"""Run lengths of CUSUM, EWMA and run rules against printed tables. Sources: cases.toml."""

import numpy as np
import pytest
import scipy.special

from qa.stats import run_rules_arl as rules_arl
from qa.stats.cusum_runs import (
    cusum_limit,
    one_sided_cusum_arl,
    siegmund_arl,
    solve_rising,
    two_sided_cusum_arl,
)
from qa.stats.ewma_runs import ewma_arl, ewma_width
from tests.reference.cases import data, expected, hold

RULES = {
    "1": rules_arl.WESTERN_ELECTRIC_1,
    "2": rules_arl.WESTERN_ELECTRIC_2,
    "3": rules_arl.WESTERN_ELECTRIC_3,
    "4": rules_arl.WESTERN_ELECTRIC_4,
}


def test_two_sided_cusum_runs_as_lucas_and_crosier_print():
    (shifts,) = data("arl_cusum_two_sided", "shift")

    def runs(limit, start=0.0):
        return [
            two_sided_cusum_arl(limit=limit, allowance=0.5, shift=shift, start=start)
            for shift in shifts.tolist()
        ]

    four, head_start = runs(4.0), runs(4.0, start=2.0)
    one_sided = {
        f"arl0_h{limit}_one_sided": one_sided_cusum_arl(limit=limit, allowance=0.5, shift=0.0)
        for limit in (4, 5)
    }
    five = runs(5.0)
    found = {"arl_h4": four, "arl_h4_printed": four, "arl_h5": five}
    found |= {"arl_h4_fir": head_start, "arl_h4_fir_printed": head_start}
    # One figure was collected with a slip in its fifth decimal (2.57323 for 2.57325 at a shift
    # of 3): it is held against a second method instead, as are its neighbours.
    place = shifts.tolist().index(3.0)
    slip = expected("arl_cusum_two_sided", "arl_h5")[place]
    assert five[place] - slip == pytest.approx(2e-5, abs=1e-9)
    found["arl_h5"] = [*five[:place], slip, *five[place + 1 :]]
    hold("arl_cusum_two_sided", found | one_sided)


@pytest.mark.parametrize("shift", [2.5, 3.0, 4.0])
def test_cusum_runs_equal_the_markov_chain_of_brook_and_evans(shift):
    """Second method: a chain of m states, its error of 1/m² taken out from m and 2m."""

    def chain(m, mean):
        width = 10 / (2 * m - 1)
        steps = (np.arange(m) - np.arange(m)[:, None]) * width - mean + 0.5
        moves = scipy.special.ndtr(steps + width / 2) - scipy.special.ndtr(steps - width / 2)
        moves[:, 0] = scipy.special.ndtr(steps[:, 0] + width / 2)
        return np.linalg.solve(np.eye(m) - moves, np.ones(m))[0]

    up, down = ((4 * chain(600, mean) - chain(300, mean)) / 3 for mean in (shift, -shift))
    found = two_sided_cusum_arl(limit=5.0, allowance=0.5, shift=shift)
    assert found == pytest.approx(
        up if not np.isfinite(down) else up * down / (up + down), rel=1e-8
    )


def test_one_sided_cusum_runs_as_the_classics_print():
    def three(shift):
        return one_sided_cusum_arl(limit=3.0, allowance=0.5, shift=shift)

    ten = [
        one_sided_cusum_arl(limit=10.0, allowance=0.0, shift=shift)
        for shift in expected("arl_cusum_one_sided_classic", "k0_h10_mu")
    ]
    found = {"k0_h10_mu": expected("arl_cusum_one_sided_classic", "k0_h10_mu")}
    found |= {"k0_h10_printed": ten, "k0_h10": ten, "k05_h3_mu0_5": three(0.5)}
    for name, shift in (("0", 0.0), ("1_5", 1.5), ("_minus0_5", -0.5)):
        found |= {f"k05_h3_mu{name}": three(shift), f"k05_h3_mu{name}_printed": three(shift)}
    hold("arl_cusum_one_sided_classic", found)


def test_siegmund_and_limits_for_a_run_of_370():
    one = siegmund_arl(limit=5.0, allowance=0.5, shift=0.0)
    allowances = expected("cusum_siegmund_and_design_h", "h_for_arl370_k")
    limits = [cusum_limit(arl=370.0, allowance=allowance) for allowance in allowances]
    hold(
        "cusum_siegmund_and_design_h",
        {
            "siegmund_k05_h5_mu0_one_sided": one,
            "siegmund_k05_h5_mu0_printed": one,
            "siegmund_two_sided_printed": one / 2,
            "h_for_arl370_k": allowances,
            "h_for_arl370_printed": limits,
            "h_for_arl370": limits,
        },
    )
    assert siegmund_arl(limit=5.0, allowance=0.5, shift=0.5) == pytest.approx(6.166**2)


def test_ewma_runs_as_lucas_and_saccucci_print():
    (shifts,) = data("arl_ewma_lucas_saccucci", "shift")

    def runs(weight, width):
        return [ewma_arl(weight=weight, width=width, shift=one) for one in shifts.tolist()]

    pairs = expected("arl_ewma_lucas_saccucci", "arl0_design_pairs_lambda_L")
    designs = list(zip(pairs[::2], pairs[1::2], strict=True))
    zero, one = (
        [ewma_arl(weight=weight, width=width, shift=shift) for weight, width in designs]
        for shift in (0.0, 1.0)
    )
    found = {"arl0_design_pairs_lambda_L": pairs, "arl0_design_pairs": zero}
    found |= {"arl1_design_pairs": one, "arl1_design_pairs_printed": one}
    for name, design in (("l05", (0.5, 3.071)), ("l003", (0.03, 2.437))):
        found |= {f"arl_{name}": runs(*design), f"arl_{name}_printed": runs(*design)}
    hold("arl_ewma_lucas_saccucci", found)


def test_ewma_runs_as_crowder_prints():
    shifts = [0, 0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75, 2]
    found = {}
    for name, weight in (("l05", 0.5), ("l005", 0.05)):
        runs = [ewma_arl(weight=weight, width=2.0, shift=shift) for shift in shifts]
        found |= {f"arl_{name}": runs, f"arl_{name}_printed": runs}
    weights = expected("arl_ewma_crowder", "L_for_arl0_250_lambda")
    widths = [ewma_width(arl=250.0, weight=weight) for weight in weights]
    found |= {"L_for_arl0_250_lambda": weights, "L_for_arl0_250_printed": widths}
    hold("arl_ewma_crowder", found | {"L_for_arl0_250": widths})


def test_run_rules_run_as_champ_and_woodall_print():
    found = {}
    for names in ("1", "12", "13", "14", "123", "124", "134", "1234"):
        rules = [RULES[name] for name in names]
        at_rest = rules_arl.run_rules_arl(rules)
        found |= {f"rules_{names}": at_rest, f"rules_{names}_printed": at_rest}
        found[f"rules_{names}_shift1"] = rules_arl.run_rules_arl(rules, shift=1.0)
    nine = rules_arl.NELSON_2
    found["same_side_run_of_8_alone"] = round(rules_arl.run_rules_arl([RULES["4"]]), 6)
    found["same_side_run_of_9_alone"] = round(rules_arl.run_rules_arl([nine]), 6)
    found["rule1_plus_nine_in_a_row"] = rules_arl.run_rules_arl([RULES["1"], nine])
    hold("arl_western_electric_rules", found)


def test_a_goal_out_of_reach_is_refused():
    with pytest.raises(ValueError, match="no argument reaches"):
        solve_rising(lambda x: float(np.tanh(x)), 2.0)
