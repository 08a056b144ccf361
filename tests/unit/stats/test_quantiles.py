import math

import pytest

from qa.stats.quantiles import quantile


def test_quantile_of_no_values_is_nan():
    assert math.isnan(quantile([], 0.5, type=7))


@pytest.mark.parametrize("type_no", [1, 2, 5, 6, 7, 8, 9])
def test_quantile_of_one_value_is_that_value(type_no):
    assert quantile([5.8], 0.25, type=type_no) == 5.8


@pytest.mark.parametrize("type_no", [0, 10])
def test_quantile_of_unknown_type_raises(type_no):
    with pytest.raises(ValueError, match="quantile type"):
        quantile([1.0, 2.0], 0.5, type=type_no)
