"""Constants by formula, X̄-R, X̄-S, individuals and moving range. Sources: cases.toml."""

import numpy as np
import pytest

from qa.stats.constants import c4_of, chart_constants
from qa.stats.individuals import individuals_limits, mean_moving_range, moving_range_limit
from qa.stats.means import pooled_sd, r_limits, s_limits, xbar_r_limits, xbar_s_limits
from tests.reference.cases import all_cases, data, hold, outside

CONSTANTS = "control_chart_constants"
# Range constants of the table were checked to 2e-7 only (two quadratures, two libraries).
TABLE_TOLERANCE = 2e-7


def test_named_constants():
    found = {}
    for name in all_cases()[CONSTANTS]["expected"]:
        constant, n = name.split("_n")
        found[name] = getattr(chart_constants(int(n)), constant)
    hold(CONSTANTS, found)


@pytest.mark.parametrize("place", range(24))
def test_every_constant_of_the_table(place):
    table = all_cases()[CONSTANTS]["data"]
    constants = chart_constants(table["n"][place])
    for name, values in table.items():
        if name != "n":
            assert getattr(constants, name) == pytest.approx(values[place], abs=TABLE_TOLERANCE)


def test_constants_of_one_value_are_refused():
    with pytest.raises(ValueError, match="no range"):
        chart_constants(1)
    assert np.isnan(c4_of([0, 1])).all()


@pytest.mark.parametrize(
    "case_id", ["xbar_r_s_pistonrings_1991", "xbar_s_pistonrings_later_editions"]
)
def test_piston_rings(case_id):
    rings = np.column_stack(data(case_id, "x1", "x2", "x3", "x4", "x5"))[:25]
    centre, mean_range = float(rings.mean()), float(np.ptp(rings, axis=1).mean())
    spread = float(rings.std(axis=1, ddof=1).mean())
    found = {"xbarbar": centre, "rbar": mean_range, "sbar": spread}
    found["xr_lcl"], found["xr_ucl"] = xbar_r_limits(centre, mean_range, 5)
    found["r_lcl"], found["r_ucl"] = r_limits(mean_range, 5)
    found["xs_lcl"], found["xs_ucl"] = map(float, xbar_s_limits(centre, spread, 5))
    found["s_lcl"], found["s_ucl"] = map(float, s_limits(spread, 5))
    found |= {f"{name}_printed": value for name, value in found.items()}
    names = all_cases()[case_id]["expected"]
    hold(case_id, {name: found[name] for name in names})


def test_piston_rings_of_unequal_samples():
    sample, x = data("xbar_s_variable_n_textbook_t6_4", "sample", "x")
    groups = [x[sample == number] for number in range(1, 26)]
    n = np.array([len(group) for group in groups])
    spread = pooled_sd([group.std(ddof=1) for group in groups], n)
    lcl, ucl = xbar_s_limits(x.mean(), spread, n)
    found = {"xbarbar": x.mean(), "xbarbar_exact": x.mean(), "pooled_s": spread, "sbar": spread}
    hold("xbar_s_variable_n_textbook_t6_4", found | {"ucl_by_sample": ucl, "lcl_by_sample": lcl})


def test_flow_rates_of_ten_batches():
    (x,) = data("imr_nist_6_3_2_2", "flowrate")
    centre, step = float(x.mean()), mean_moving_range(x)
    lcl, ucl = individuals_limits(centre, step, d2=1.128)
    hold(
        "imr_nist_6_3_2_2",
        {
            "center": centre,
            "mrbar": step,
            "ucl": ucl,
            "lcl": lcl,
            "mr_ucl": moving_range_limit(step),
            "ucl_exact_d2": individuals_limits(centre, step)[1],
            "ucl_d2_1_128": ucl,
            "mr_ucl_exact_D4": moving_range_limit(step),
        },
    )


def test_mortgage_costs():
    cost, phase = data("imr_textbook_ex6_5", "cost", "phase")
    base = cost[phase == 1]
    centre, step = float(base.mean()), mean_moving_range(base)
    as_printed = individuals_limits(centre, step, d2=3 / 2.66)
    later = [20 + one for one in outside(cost[20:], *individuals_limits(centre, step))]
    hold(
        "imr_textbook_ex6_5",
        {
            "center": centre,
            "mrbar": step,
            "ucl": as_printed[1],
            "lcl": as_printed[0],
            "mr_ucl": round(chart_constants(2).D4, 3) * step,
            "mrbar_exact": step,
            "ucl_2_66": as_printed[1],
            "weeks_out_in_phase2": later,
        },
    )


def test_moving_range_of_one_value_is_unknown():
    assert np.isnan(mean_moving_range([5.0]))
    assert np.isnan(pooled_sd([1.0], [1]))
