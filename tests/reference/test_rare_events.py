"""g- and t-charts. Sources: cases.toml."""

import numpy as np

from qa.stats.individuals import individuals_limits, mean_moving_range
from qa.stats.rare_events import POWER, g_chart_limits, g_probability_limits, t_chart_limits
from tests.reference.cases import data, hold, outside


def test_t_chart_of_the_valve_failures():
    (hours,) = data("t_chart_textbook_ex7_6", "hours_between")
    y = hours**POWER
    step = mean_moving_range(y)
    low, high = individuals_limits(float(y.mean()), step, d2=1.128)
    lcl, centre, ucl = t_chart_limits(hours, d2=1.128)
    hold(
        "t_chart_textbook_ex7_6",
        {
            "y1": hours[0] ** 0.2777,
            "y": y,
            "center_y": y.mean(),
            "mrbar_y": step,
            "ucl_y": high,
            "lcl_y": low,
            "center_hours": centre,
            "ucl_hours": ucl,
            "lcl_hours": lcl,
            "signals": outside(hours, lcl, ucl),
            "center_y_power_0_2777": (hours**0.2777).mean(),
        },
    )


def test_g_chart_of_surgeon_five():
    (between,) = data("g_chart_cases_between_events", "cases_without_event_between_events")
    mean = float(between.mean())
    share = 1 / (mean + 1)
    lcl, ucl = g_chart_limits(mean)
    hold(
        "g_chart_cases_between_events",
        {
            "n_intervals": len(between),
            "gbar": mean,
            "ucl": ucl,
            "lcl": lcl,
            "sample_median": np.median(between),
            "median_approx_0_693_gbar": 0.693 * mean,
            "p_hat": share,
            "prob_limit_upper_0_99865": float(g_probability_limits(share)[1]),
            "ucl_if_counted_from_one": ucl + 1,
            "formula_check_gbar30_ucl": g_chart_limits(30.0)[1],
        },
    )
