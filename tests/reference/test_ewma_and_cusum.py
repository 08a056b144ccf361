"""EWMA and CUSUM on printed series. Sources: cases.toml."""

import numpy as np
import pytest

from qa.stats.cusum import score_cusum, times_above_zero, two_sided_cusum
from qa.stats.ewma import ewma, ewma_half_width, ewma_variance
from tests.reference.cases import data, hold, outside

FINAL = {"weight": 0.3, "width": 3.0, "sigma": 2.0539, "is_asymptotic": True}


def test_ewma_of_the_handbook():
    (x,) = data("ewma_nist_6_3_2_4", "x")
    z = ewma(x, weight=0.3, start=50.0)
    half = float(ewma_half_width(1, **FINAL))
    found = {"ewma_printed": z, "ewma": z, "signals": outside(z, 50 - half, 50 + half)}
    for name in ("printed", "exact"):
        found |= {f"ucl_{name}": 50 + half, f"lcl_{name}": 50 - half}
    hold("ewma_nist_6_3_2_4", found)


def test_ewma_of_the_textbook_with_limits_that_widen():
    (x,) = data("ewma_textbook_ex9_2", "x")
    z = ewma(x, weight=0.1, start=10.0)
    half = ewma_half_width(np.arange(1, 31), sigma=1.0, weight=0.1, width=2.7)
    final = ewma_half_width(1, sigma=1.0, weight=0.1, width=2.7, is_asymptotic=True)
    found = {"z1": z[0], "z2": z[1], "ucl_asymptotic": 10 + float(final)}
    found |= {"ucl1": 10 + half[0], "lcl1": 10 - half[0], "ucl2": 10 + half[1]}
    found |= {"lcl2": 10 - half[1], "z": z, "half_width": half}
    hold("ewma_textbook_ex9_2", found | {"signals": outside(z, 10 - half, 10 + half)})
    assert 2.7 * np.sqrt(ewma_variance(np.ones(30), weight=0.1)) == pytest.approx(half)


def test_cusum_of_the_handbook():
    (x,) = data("cusum_nist_6_3_2_3", "x")
    up, down = two_sided_cusum(x, target=325.0, allowance=0.3175)
    signals = outside(np.maximum(up, down), 0.0, 4.1959)
    found = {"upper_printed": up, "lower_printed": down, "upper": up, "lower": down}
    hold("cusum_nist_6_3_2_3", found | {"first_signal": signals[0], "signals": signals})


def test_cusum_of_the_textbook_says_when_and_how_much():
    (x,) = data("cusum_textbook_ex9_1", "x")
    up, down = two_sided_cusum(x, target=10.0, allowance=0.5)
    first = outside(up, 0.0, 5.0)[0]
    since = int(times_above_zero(up)[first - 1])
    mean = 10 + 0.5 + float(up[first - 1]) / since
    hold(
        "cusum_textbook_ex9_1",
        {
            "c_plus_29": up[28],
            "n_plus_29": since,
            "first_signal": first,
            "last_in_control_period": first - since,
            "new_mean_estimate": mean,
            "new_mean_estimate_exact": mean,
            "c_plus": up,
            "c_minus": down,
        },
    )


def test_series_side_by_side_equal_series_alone():
    (x,) = data("ewma_textbook_ex9_2", "x")
    both = np.column_stack([x, x[::-1]])
    for column, alone in enumerate((x, x[::-1])):
        assert (
            ewma(both, weight=0.1, start=10.0)[:, column] == ewma(alone, weight=0.1, start=10.0)
        ).all()
        up = two_sided_cusum(both, target=10.0, allowance=0.5)[0]
        assert (up[:, column] == two_sided_cusum(alone, target=10.0, allowance=0.5)[0]).all()


def test_a_month_without_a_value_moves_nothing():
    x = [1.0, np.nan, 3.0]
    assert score_cusum(x).tolist() == [1.0, 1.0, 4.0]
    assert ewma(x, weight=0.5, start=0.0).tolist() == [0.5, 0.5, 1.75]
    assert ewma_variance(x, weight=0.5)[1] == ewma_variance(x, weight=0.5)[0]
