"""Are events split between two or more parts as was expected, given how many there were?"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr, bdtrc, chdtrc, ndtr


def split_test(events: ArrayLike, expected: ArrayLike) -> float:
    """Chance of as uneven a split, given the sum; what is common to all parts drops out.

    Args:
        events: found in each part; expected: of each part, above 0, on any common scale.
    Returns: p, two-sided; nan for a single part or without events.
    Method: two parts: exact binomial with expected₁ / (expected₁ + expected₂), the smaller tail
        doubled. More: Pearson's chi-square against expected shares.
    Weak when: more than two parts and few events are expected in some; events that are common
        (then ask for the other exams).
    References: Przyborowski, Wilenski, Biometrika 1940; 31: 313-323.
    Example: 8 and 2 events where 5 and 5 were expected → 0.109
    """
    x, should = np.asarray(events, dtype=np.float64), np.asarray(expected, dtype=np.float64)
    total = float(x.sum())
    if len(x) < 2 or total <= 0:
        return float("nan")
    share = should / should.sum()
    if len(x) == 2:
        upper = 1.0 if x[0] == 0 else float(bdtrc(x[0] - 1, int(total), share[0]))
        return min(1.0, 2 * min(float(bdtr(x[0], int(total), share[0])), upper))
    statistic = float(((x - total * share) ** 2 / (total * share)).sum())
    return float(chdtrc(len(x) - 1, statistic))


def stratified_split_test(
    events: ArrayLike, others: ArrayLike, expected: ArrayLike, others_expected: ArrayLike
) -> float:
    """As split_test for one part against the rest, over several strata of which each is given.

    Args:
        events, others: found in the part and in the rest, for each stratum.
        expected, others_expected: of these, on any scale that is common within a stratum.
    Returns: p, two-sided; nan where no stratum has events and both parts.
    Method: given the events of each stratum, the part's are binomial. One stratum: exact. More:
        sum of the part's events, normal with half an event taken off.
    Weak when: fewer than about five events are expected over several strata.
    References: as split_test; Breslow, Day, Statistical Methods in Cancer Research II, 1987, 3.5.
    Example: one stratum, 8 against 2 where 5 and 5 were expected → 0.109
    """
    x, y, a, b = (
        np.asarray(one, dtype=np.float64) for one in (events, others, expected, others_expected)
    )
    known = (x + y > 0) & (a > 0) & (b > 0)
    if not known.any():
        return float("nan")
    if known.sum() == 1:
        at = int(np.flatnonzero(known)[0])
        return split_test([x[at], y[at]], [a[at], b[at]])
    total, share = (x + y)[known], (a / np.where(known, a + b, 1.0))[known]
    gap = abs(float((x[known] - total * share).sum()))
    error = float(np.sqrt((total * share * (1 - share)).sum()))
    return min(1.0, float(2 * ndtr(-max(0.0, gap - 0.5) / error)))
