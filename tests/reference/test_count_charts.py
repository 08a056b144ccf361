"""np-, c- and u-charts, their over-dispersion test, p′ and u′. Sources: cases.toml."""

import numpy as np
import pytest

from qa.stats.count_limits import c_chart_limits, np_chart_limits, u_chart_limits
from qa.stats.laney import PRINTED_D2, p_prime_limits, sigma_z, u_prime_limits
from qa.stats.limits import p_chart_limits
from qa.stats.overdispersion import binomial_dispersion, poisson_dispersion
from tests.reference.cases import data, hold, outside


def limits_of(limits):
    return [float(limit) for limit in limits]


def test_np_chart_of_the_orange_juice_cans():
    counts, n = data("np_chart_textbook", "nonconforming", "n")
    share = counts.sum() / n.sum()
    lcl, ucl = limits_of(np_chart_limits(share, 50))
    found = {"center": 50 * share, "ucl": ucl, "lcl": lcl, "ucl_exact": ucl, "lcl_exact": lcl}
    hold("np_chart_textbook", found)


def test_revised_p_chart_of_the_orange_juice_cans():
    counts, n = data("p_chart_textbook_ex7_1_revised", "nonconforming", "n")
    kept, kept_n = np.delete(counts[:30], [14, 22]), np.delete(n[:30], [14, 22])
    centre = kept.sum() / kept_n.sum()
    lcl, ucl = limits_of(p_chart_limits(centre, 50))
    later, later_n = counts[30:], n[30:]
    both = (kept.sum() + later.sum()) / (kept_n.sum() + later_n.sum())
    error = np.sqrt(both * (1 - both) * (1 / kept_n.sum() + 1 / later_n.sum()))
    z = (centre - later.sum() / later_n.sum()) / error
    first = [one for one in outside(counts[:30] / 50, lcl, ucl) if one not in (15, 23)]
    hold(
        "p_chart_textbook_ex7_1_revised",
        {
            "center": centre,
            "ucl": ucl,
            "lcl": lcl,
            "ucl_exact": ucl,
            "lcl_exact": lcl,
            "samples_above_ucl_after_revision": first,
            "phase2_center": later.sum() / later_n.sum(),
            "phase2_center_printed": later.sum() / later_n.sum(),
            "two_proportion_z": z,
            "two_proportion_z_printed": z,
            "phase2_samples_below_lcl": [30 + one for one in outside(later / 50, lcl, ucl)],
        },
    )


def test_c_chart_of_the_wafers():
    (defects,) = data("c_chart_nist_6_3_3_1", "defects")
    centre = defects.mean()
    lcl, ucl = limits_of(c_chart_limits(centre))
    hold(
        "c_chart_nist_6_3_3_1",
        {
            "total": defects.sum(),
            "center": centre,
            "ucl": ucl,
            "lcl": lcl,
            "wafers_above_ucl": outside(defects, lcl, ucl),
        },
    )


def test_c_chart_of_the_circuit_boards_with_its_revision():
    counts, phase = data("c_chart_textbook_ex7_3", "count", "phase")
    base = counts[phase == 1]
    lcl, ucl = limits_of(c_chart_limits(base.mean()))
    kept = np.delete(base, [5, 19]).mean()
    kept_lcl, kept_ucl = limits_of(c_chart_limits(kept))
    hold(
        "c_chart_textbook_ex7_3",
        {
            "center": base.mean(),
            "ucl": ucl,
            "lcl": lcl,
            "center_exact": base.mean(),
            "ucl_exact": ucl,
            "lcl_exact": lcl,
            "samples_out": outside(base, lcl, ucl),
            "revised_center": kept,
            "revised_ucl": kept_ucl,
            "revised_lcl": kept_lcl,
            "revised_ucl_exact": kept_ucl,
            "revised_lcl_exact": kept_lcl,
        },
    )


def test_u_chart_of_the_computers():
    n, counts = data("u_chart_constant_n5_textbook", "n", "nonconformities")
    centre = counts.sum() / n.sum()
    lcl, ucl = u_chart_limits(centre, n)
    found = {"center": centre, "ucl": ucl[0], "lcl": lcl[0], "ucl_exact": ucl[0]}
    found |= {"lcl_exact": lcl[0], "samples_out": outside(counts / n, lcl, ucl)}
    hold("u_chart_constant_n5_textbook", found)


def test_u_chart_of_the_shipments_has_no_limit_below_zero():
    n, counts = data("u_chart_constant_n50_textbook_ex7_4", "n", "nonconformities")
    centre = counts.sum() / n.sum()
    lcl, ucl = u_chart_limits(centre, n)
    found = {"center": centre, "ucl": ucl[0], "lcl": lcl[0], "ucl_exact": ucl[0]}
    hold("u_chart_constant_n50_textbook_ex7_4", found)


def test_u_chart_of_the_cloth_steps_with_its_size():
    size, counts = data("u_chart_variable_n_textbook_ex7_5", "units_of_50m2", "nonconformities")
    centre = counts.sum() / size.sum()
    lcl, ucl = u_chart_limits(centre, size)
    found = {"center": centre, "center_exact": centre, "lcl_by_roll": lcl, "ucl_by_roll": ucl}
    hold(
        "u_chart_variable_n_textbook_ex7_5", found | {"rolls_out": outside(counts / size, lcl, ucl)}
    )


def test_dispersion_tests_of_wetherill_and_brown():
    shares, counts = data(
        "overdispersion_test_wetherill_brown", "binomial_count_n50", "poisson_count"
    )
    parts = {"binomial": binomial_dispersion(shares, 50), "poisson": poisson_dispersion(counts)}
    found = {}
    for name, test in parts.items():
        found |= {f"{name}_ratio": test.ratio, f"{name}_stat": test.statistic, f"{name}_p": test.p}
    hold("overdispersion_test_wetherill_brown", found)


def test_p_prime_chart_of_the_emergency_departments():
    seen, n = data("laney_p_prime_emergency_4h", "seen_within_4h", "attendances")
    centre = seen.sum() / n.sum()
    z = (seen / n - centre) / np.sqrt(centre * (1 - centre) / n)
    spread = sigma_z(z, d2=PRINTED_D2)
    lcl, ucl = p_prime_limits(centre, n, sigma_z=spread)
    hold(
        "laney_p_prime_emergency_4h",
        {
            "center": centre,
            "sigma_z": spread,
            "sigma_z_with_exact_d2": sigma_z(z),
            "lcl_by_week": lcl,
            "ucl_by_week": ucl,
            "weeks_outside_plain_p_chart": outside(seen / n, *p_chart_limits(centre, n)),
            "weeks_outside_p_prime": outside(seen / n, lcl, ucl),
        },
    )


def test_screened_moving_ranges_give_another_sigma_z():
    n, errors = data("laney_p_prime_screening_t7_4", "n", "nonconforming")
    centre = errors.sum() / n.sum()
    z = (errors / n - centre) / np.sqrt(centre * (1 - centre) / n)
    spread = sigma_z(z, d2=PRINTED_D2)
    lcl, ucl = p_prime_limits(centre, n, sigma_z=spread)
    screened = sigma_z(z, is_screened=True, d2=PRINTED_D2)
    found = {"sigma_z": spread, "sigma_z_screened_mr": screened}
    hold(
        "laney_p_prime_screening_t7_4",
        found | {"ucl_sample_1": ucl[0], "lcl_sample_1": lcl[0]},
    )


def test_u_prime_chart_of_the_cloth():
    size, counts = data("laney_u_prime_dyed_cloth", "units_of_50m2", "nonconformities")
    centre = counts.sum() / size.sum()
    spread = sigma_z((counts / size - centre) / np.sqrt(centre / size), d2=PRINTED_D2)
    lcl, ucl = u_prime_limits(centre, size, sigma_z=spread)
    found = {"sigma_z": spread, "ucl_roll_1": ucl[0], "lcl_roll_1": lcl[0]}
    hold("laney_u_prime_dyed_cloth", found)


@pytest.mark.parametrize("z", [[], [1.0]])
def test_sigma_z_of_fewer_than_two_months_is_unknown(z):
    assert np.isnan(sigma_z(z))
