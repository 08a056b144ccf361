"""Exact funnel limits, and a funnel over real technicians.

Limits: Spiegelhalter DJ, Stat Med 2005; 24: 1185-1202, appendix A.1.1; figures by R
qbinom/pbinom/dbinom and scipy, equal to 1e-8.
Technicians: public-use elastography file of the US survey 2017-2018 (National Center for Health
Statistics), share with fewer than ten valid measurements or IQR/median above 30 %.
"""

import numpy as np
import pytest

from qa.stats.limits import funnel_limits, p_chart_limits

# n, level, lower, upper at a target of 0.2
EXACT_LIMITS = [
    (10, 0.998, 0.0, 0.5975360398),
    (10, 0.95, 0.0, 0.4294938829),
    (25, 0.998, 0.0, 0.4584474773),
    (25, 0.95, 0.0359516474, 0.3495821841),
    (50, 0.998, 0.0347761432, 0.3791440977),
    (50, 0.95, 0.0844048220, 0.3070938834),
    (100, 0.998, 0.0809782526, 0.3267658515),
    (100, 0.95, 0.1197422327, 0.2764760850),
    (500, 0.998, 0.1454895583, 0.2558946550),
    (500, 0.95, 0.1644946067, 0.2346464078),
]


@pytest.mark.parametrize(("n", "level", "lower", "upper"), EXACT_LIMITS)
def test_funnel_limits_equal_spiegelhalter(n, level, lower, upper):
    assert funnel_limits(0.2, n, level=level) == pytest.approx((lower, upper), abs=1e-9)


# technician → exams not meeting it, exams; counted from the public file, unweighted
TECHNICIANS = {
    "A": (8, 170), "B": (1, 464), "C": (16, 473), "D": (47, 816), "E": (13, 793),
    "F": (18, 793), "G": (77, 785), "H": (28, 746), "I": (6, 235), "J": (18, 711),
}  # fmt: skip


def test_three_sigma_limit_of_technician_g_equals_the_worked_check():
    """Worked check: mean 3.88 %; G, 77 of 785, lies above its limit of 5.94 %."""
    events, n = (sum(column) for column in zip(*TECHNICIANS.values(), strict=True))
    assert events / n == pytest.approx(0.0388, abs=5e-5)
    assert float(p_chart_limits(events / n, 785)[1]) == pytest.approx(0.0594, abs=5e-5)


def test_funnel_limits_find_the_technicians_of_the_worked_check():
    """Worked check: G above, B and E below; nobody else outside."""
    events, n = (np.array(column) for column in zip(*TECHNICIANS.values(), strict=True))
    lcl, ucl = funnel_limits(events.sum() / n.sum(), n, level=0.998)
    names = np.array(list(TECHNICIANS))
    assert names[events / n > ucl].tolist() == ["G"]
    assert names[events / n < lcl].tolist() == ["B", "E"]
