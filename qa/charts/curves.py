"""Limits of a funnel as curves over n, and intervals of shares, ready to draw."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.stats.intervals import wilson_interval
from qa.stats.limits import funnel_limits
from qa.stats.spread import spread_limits

CURVE_POINTS = 120


@dataclass(frozen=True)
class FunnelCurve:
    """Exact limits at increasing n, all of one length; spread_: 99.8 %, tau² allowed for."""

    n: tuple[int, ...]
    lcl95: tuple[float, ...]
    ucl95: tuple[float, ...]
    lcl998: tuple[float, ...]
    ucl998: tuple[float, ...]
    spread_lcl: tuple[float, ...] = ()
    spread_ucl: tuple[float, ...] = ()


def funnel_curve(centre: float | None, *, max_n: int, tau2: float | None = None) -> FunnelCurve:
    """Curves from n = 1 to a little beyond max_n; empty where there is no centre or no exam.

    n grows geometrically, so that the steep part near 0 has points enough. tau2: variance between
    units beyond chance; None or 0: no limits that allow for it.
    """
    if centre is None or max_n < 1:
        return FunnelCurve((), (), (), (), ())
    n = np.unique(np.geomspace(1, max_n * 1.05 + 1, CURVE_POINTS).astype(np.int64))
    narrow = funnel_limits(np.full(n.shape, centre), n, level=0.95)
    wide = funnel_limits(np.full(n.shape, centre), n, level=0.998)
    allowed = spread_limits(centre, n, level=0.998, tau2=tau2) if tau2 else ()
    rows = [tuple(limit.tolist()) for limit in (*narrow, *wide, *allowed)]
    return FunnelCurve(tuple(n.tolist()), *rows)


def share_intervals(n_events: Sequence[int], n: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Wilson 95 % intervals of parts of one whole, each taken alone; empty where n is 0."""
    if n < 1:
        return (), ()
    lower, upper = wilson_interval(np.asarray(n_events), np.full(len(n_events), n))
    return tuple(lower.tolist()), tuple(upper.tolist())
