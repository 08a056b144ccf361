"""Observed against expected, spread between units, many tests at once. Sources: cases.toml."""

from collections import Counter

import numpy as np
import pytest
import scipy.stats

from qa.stats.limits import funnel_limits
from qa.stats.multiplicity import benjamini_hochberg, bonferroni
from qa.stats.poisson import (
    byar_interval,
    classify_ratios,
    exact_poisson_interval,
    poisson_funnel_limits,
)
from qa.stats.random_effects import random_effects, shrunken
from qa.stats.spread import ratio_spread, spread_limits, unit_spread
from tests.reference.cases import data, hold, shared_rows


def test_observed_over_expected_with_its_intervals():
    observed, expected = data("smr_byar_exact", "observed", "expected")
    found = {"zero_observed_exact_upper_count": float(exact_poisson_interval(0)[1])}
    for name, interval in (("byar", byar_interval), ("exact", exact_poisson_interval)):
        for count, mean in zip(observed.tolist(), expected.tolist(), strict=True):
            found[f"{name}_{count}_{mean}"] = [float(end) / mean for end in interval(count)]
    hold("smr_byar_exact", found)


def test_exact_funnel_limits_of_both_kinds():
    def binomial(n, level):
        return [float(limit) for limit in funnel_limits(0.2, n, level=level)]

    poisson = poisson_funnel_limits(10.0, level=0.998), poisson_funnel_limits(10.0, level=0.95)
    hold(
        "funnel_exact_limits",
        {
            "binom_n50_target02_p0_999": binomial(50, 0.998)[1],
            "binom_n50_target02_p0_001": binomial(50, 0.998)[0],
            "binom_n100_target02_p0_975": binomial(100, 0.95)[1],
            "poisson_e10_p0_999": float(poisson[0][1]),
            "poisson_e10_p0_025": float(poisson[1][0]),
        },
    )


def test_every_row_of_the_exact_funnel_limits():
    names = ("distribution", "n_or_expected", "p", "interpolated_limit_clamped_at_0")
    rows = list(zip(*data("funnel_exact_limits", *names), strict=True))
    assert len(rows) == 32
    for kind, size, p, limit in rows:
        level = 1 - 2 * min(p, 1 - p)
        both = (
            funnel_limits(0.2, int(size), level=level)
            if kind == "binomial"
            else poisson_funnel_limits(float(size), level=level)
        )
        assert float(both[1] if p > 0.5 else both[0]) == pytest.approx(limit, abs=1e-8)


def test_spread_of_the_herds():
    events, n = data("funnel_overdispersion_proportion", "events", "n")
    target = events.sum() / n.sum()
    raw, drawn_in = (unit_spread(events, n, target=target, trim=trim) for trim in (0.0, 0.1))
    ends = np.quantile(raw.z, [0.1, 0.9])
    plain = spread_limits(target, 50, level=0.998)
    wide = spread_limits(target, 50, level=0.998, tau2=drawn_in.tau2)
    # The collected lower limit with tau² is sin² of an angle below 0, folded over; ours is 0.
    angle = np.arcsin(np.sqrt(target)) - 3.090232306168 * np.sqrt(1 / 200 + drawn_in.tau2)
    assert angle < 0
    assert wide[0] == 0
    hold(
        "funnel_overdispersion_proportion",
        {
            "target": target,
            "z": raw.z,
            "phi_raw": raw.phi,
            "tau2_raw": raw.tau2,
            "winsor_low": ends[0],
            "winsor_high": ends[1],
            "units_winsorised": int(((raw.z < ends[0]) | (raw.z > ends[1])).sum()),
            "phi_winsorised": drawn_in.phi,
            "tau2_winsorised": drawn_in.tau2,
            "lower_99_8_n50_no_tau": float(plain[0]),
            "upper_99_8_n50_no_tau": float(plain[1]),
            "upper_99_8_n50_with_tau": float(wide[1]),
            "lower_99_8_n50_with_tau": float(np.sin(angle) ** 2),
        },
    )


def test_spread_of_the_scottish_districts():
    cases, population = data("funnel_overdispersion_ratio", "cases", "population")
    expected = population * cases.sum() / population.sum()
    found = {"total_observed": cases.sum(), "expected_first_row": expected[0]}
    drawn_in = []
    for scale in ("log", "sqrt"):
        spread = ratio_spread(cases, expected, scale=scale)
        found |= {f"{scale}_scale_phi": spread.phi, f"{scale}_scale_tau2": spread.tau2}
        found[f"{scale}_scale_phi_raw"] = ratio_spread(cases, expected, scale=scale, trim=0).phi
        z = spread.z[np.isfinite(spread.z)]
        low, high = np.quantile(z, [0.1, 0.9])
        drawn_in.append(int(((z < low) | (z > high)).sum()))
        if scale == "log":
            found["log_scale_units_with_events"] = len(z)
    assert len(set(drawn_in)) == 1
    hold("funnel_overdispersion_ratio", found | {"winsorised_units_each_scale": drawn_in[0]})


def test_three_hundred_ratios_fall_into_the_listed_classes():
    rows = shared_rows("funnel_ratio_classification_300.csv")
    observed, expected = (
        np.array([float(row[name]) for row in rows]) for name in ("observed", "expected")
    )
    classes = classify_ratios(observed, expected)
    apart = sum(found != row["class"] for found, row in zip(classes, rows, strict=True))
    counts = dict(Counter(classes.tolist()))
    hold(
        "funnel_ratio_classification",
        {"class_counts": counts, "exact_limits_mismatches_allowed": apart},
    )


def test_random_effects_of_the_vaccine_trials():
    names = ("treated_cases", "treated_noncases", "control_cases", "control_noncases")
    ill, well, control_ill, control_well = data("random_effects_dersimonian_laird", *names)
    n, control_n = ill + well, control_ill + control_well
    effect = np.log(ill / n) - np.log(control_ill / control_n)
    variance = 1 / ill - 1 / n + 1 / control_ill - 1 / control_n
    found = random_effects(effect, variance)
    hold(
        "random_effects_dersimonian_laird",
        {
            "tau2": found.tau2,
            "Q": found.q,
            "I2_percent": 100 * found.i2_share,
            "estimate": found.estimate,
            "se": found.standard_error,
        },
    )


def test_shrunken_figures_lie_between_their_own_and_the_centre():
    """Closed form: equal variances of chance and between units meet in the middle."""
    estimate, error = shrunken([2.0, 0.0], [1.0, 4.0], centre=0.0, tau2=1.0)
    assert estimate.tolist() == [1.0, 0.0]
    assert error == pytest.approx([np.sqrt(0.5), np.sqrt(0.8)])


def test_false_discovery_rate_of_the_paper():
    (p,) = data("benjamini_hochberg", "p")
    adjusted = benjamini_hochberg(p[::-1])[::-1]
    kept = adjusted <= 0.05
    hold(
        "benjamini_hochberg",
        {
            "rejected_bh": int(kept.sum()),
            "rejected_bonferroni": int((bonferroni(p) <= 0.05).sum()),
            "largest_rejected_p": p[kept].max(),
            "adjusted_p": adjusted,
        },
    )
    assert adjusted == pytest.approx(scipy.stats.false_discovery_control(p))
