"""How long a chart as it is drawn runs until it calls by chance: its own counts, its own baseline.

The textbook's 370 months hold for normal values and a centre line that is known. Here the true
level is uncertain as the baseline leaves it, and counts are counts.
"""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import (
    bdtr,
    betaincinv,
    betaln,
    fdtr,
    fdtrc,
    gammaincinv,
    gammaln,
    ndtr,
    pdtr,
)

from qa.charts.draw import EWMA_WEIGHT, EWMA_WIDTH, DrawnSeries, freedom_of
from qa.charts.draw_cusum import CUSUM_ARL
from qa.charts.kinds import Quantity
from qa.charts.months_of import SeriesMonths
from qa.stats.estimation import student_width
from qa.stats.ewma_runs import ewma_arl
from qa.stats.means import pooled_sd
from qa.stats.run_rules import RUN_RULES
from qa.stats.run_rules_alone import rules_rate
from qa.stats.run_rules_arl import KOfM, RunChain, run_chain

Floats = NDArray[np.float64]

# The true level is taken at seven points that stand for a normal curve, its tails among them.
_POINTS, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_PARTS = ndtr(_POINTS)

# The newest months whose numbers of exams stand for the months to come.
RECENT = 12

_COUNT_KINDS = ("p", "np", "u", "c")


def count_call_rate(
    n: Floats, lcl: Floats, ucl: Floats, *, centre: Floats | float, n_baseline: float
) -> float:
    """False calls a month of limits on shares, over the months given; nan without months.

    Args:
        n, lcl, ucl: exams and drawn limits (shares) of each month; one without exams is left out.
        centre: share expected in each month. n_baseline: exams that it rests on.
    Method: beta-binomial probability strictly outside: the share behind the month is as
        uncertain as the baseline leaves it.
    References: Skellam, J R Stat Soc B 1948; 10: 257-261.
    """
    rates = []
    n, has_exams = np.asarray(n), np.asarray(n) > 0
    for size, low, high, share in zip(
        n[has_exams],
        np.asarray(lcl)[has_exams],
        np.asarray(ucl)[has_exams],
        np.clip(np.broadcast_to(centre, n.shape), 1e-9, 1 - 1e-9)[has_exams],
        strict=True,
    ):
        k = np.arange(int(size) + 1, dtype=np.float64)
        logs = gammaln(size + 1) - gammaln(k + 1) - gammaln(size - k + 1)
        a, b = share * (n_baseline + 1), (1 - share) * (n_baseline + 1)
        chance = np.exp(logs + betaln(k + a, size - k + b) - betaln(a, b))
        outside = (k / size > high + 1e-12) | (k / size < low - 1e-12)
        rates.append(float(chance[outside].sum()))
    return float(np.mean(rates)) if rates else float("nan")


def shewhart_run_length(
    series: SeriesMonths,
    lines: tuple[Floats, Floats, Floats],
    *,
    kind: str,
    sigmas: float,
    rules: Sequence[str] = (),
    freedom: float = np.inf,
) -> float:
    """Mean number of months to a false call of a Shewhart chart as drawn.

    Args:
        series: with a baseline.
        lines: centre, lcl and ucl of each month, in the unit of the counts' share or rate.
        sigmas: what the limits were meant to be.
        rules: keys of RUN_RULES that are on, besides the limits.
        freedom: degrees of freedom of the sigma behind the limits.
    Returns: months: 1 over the mean rate at which it calls, averaged over what the true level
        may be; infinite where it cannot call, nan without limits.
    Method: the limits are one point beyond `sigmas`; rules of k of m are exact chains on the
        counts' own distribution (binomial for shares, Poisson for rates, normal for the rest)
        at the typical month; the others add at most their own rate.
    Weak when: months differ by more than the chart allows for; and where sigma comes from moving
        ranges Student's distribution is an approximation: a chart of individuals from twelve
        months is said to run 370 months and runs about 600 (1,500 simulated series).
    """
    at = _recent(series, lines)
    if not len(at):
        return float("nan")
    centre, lcl, ucl = (line[at] for line in lines)
    plain = _plain_count_rate(series, at, lcl, ucl, kind=kind)
    if plain is not None and not rules:
        return 1 / plain if plain else float("inf")
    typical = at[int(np.argsort(series.n[at])[(len(at) - 1) // 2])]
    one = int(np.flatnonzero(at == typical)[0])
    patterns = [RUN_RULES[key].pattern for key in rules]
    chain = run_chain(
        list(dict.fromkeys([KOfM(1, 1, sigmas), *(one for one in patterns if one is not None)]))
    )
    scale = _Scale(centre[one], lcl[one], ucl[one], sigmas)
    if kind in _COUNT_KINDS:
        lengths = _count_lengths(series, chain, scale, float(series.n[typical]))
    else:
        share = float(series.n[typical] / max(series.n[series.is_baseline].sum(), 1.0))
        if kind == "individuals":
            share = 1 / max(int(series.is_baseline.sum()), 1)
        lengths = _normal_lengths(chain, sigmas, share=share, freedom=freedom)
    rate = float(_WEIGHTS @ (1 / np.array(lengths))) + rules_rate(rules)
    return 1 / rate if rate else float("inf")


class _Scale:
    """Where a value lies in the units of the limits drawn: ±sigmas is on a limit."""

    def __init__(self, centre: float, lcl: float, ucl: float, sigmas: float) -> None:
        self.centre, self.sigmas = centre, sigmas
        self.up, self.down = max(ucl - centre, 1e-12), max(centre - lcl, 1e-12)
        self.has_lower = lcl > 0

    def value_at(self, z: float) -> float:
        if z >= 0:
            return self.centre + z / self.sigmas * self.up
        return self.centre + z / self.sigmas * self.down


def _recent(series: SeriesMonths, lines: tuple[Floats, Floats, Floats]) -> NDArray[np.intp]:
    known = np.isfinite(lines[0]) & np.isfinite(lines[2]) & (series.n > 0)
    later = known & ~series.is_baseline
    return np.flatnonzero(later if later.any() else known)[-RECENT:]


def _plain_count_rate(
    series: SeriesMonths, at: NDArray[np.intp], lcl: Floats, ucl: Floats, *, kind: str
) -> float | None:
    if kind not in ("p", "np"):
        return None
    base = series.is_baseline
    events, exams = series.total[base].sum(), series.n[base].sum()
    share = (events + 0.5) / (exams + 1)
    return count_call_rate(series.n[at], lcl, ucl, centre=share, n_baseline=exams)


def _count_lengths(
    series: SeriesMonths, chain: RunChain, scale: _Scale, size: float
) -> list[float]:
    """Run lengths at seven true levels; counts at the typical number of exams."""
    base = series.is_baseline
    events, exams = float(series.total[base].sum()), float(series.n[base].sum())
    below: Callable[[float, float], float]
    if series.quantity == Quantity.SHARE:
        levels = betaincinv(events + 0.5, exams - events + 0.5, _PARTS)

        def below(k: float, level: float) -> float:
            return float(bdtr(k, int(size), level)) if k >= 0 else 0.0
    else:
        levels = gammaincinv(events + 0.5, _PARTS) / exams

        def below(k: float, level: float) -> float:
            return float(pdtr(k, size * level)) if k >= 0 else 0.0

    return [chain.run_length(_chances(chain, scale, size, level, below)) for level in levels]


def _chances(
    chain: RunChain,
    scale: _Scale,
    size: float,
    level: float,
    below: Callable[[float, float], float],
) -> Floats:
    """Chance of each zone of the chain for a count at one true level."""
    chances, before = [], 0.0
    for edge in chain.edges:
        at = scale.value_at(edge) * size
        on = round(at)
        is_on = abs(at - on) < 1e-9 * max(size, 1.0)
        up_to = below(on - 1 if is_on else float(np.floor(at)), level)
        with_it = below(on, level) if is_on else up_to
        chances += [max(up_to - before, 0.0), max(with_it - up_to, 0.0)]
        before = with_it
    return np.array([*chances, max(1.0 - before, 0.0)])


def _normal_lengths(chain: RunChain, sigmas: float, *, share: float, freedom: float) -> list[float]:
    """Run lengths over how far centre and sigma may be off; the limits are drawn wider for both.

    share: variance of the centre line in units of a month's.
    """
    wide = student_width(sigmas, freedom) / sigmas * np.sqrt(1 + share)
    scales, weights = np.ones(1), np.ones(1)
    if np.isfinite(freedom):
        scales, weights = np.sqrt(2 * gammaincinv(freedom / 2, _PARTS) / freedom), _WEIGHTS

    def length(shift: float) -> float:
        rates = [
            1 / chain.normal_run_length(shift=shift / (wide * one), width=1 / (wide * one))
            for one in scales.tolist()
        ]
        return float(1 / (weights @ np.array(rates)))

    return [length(shift) for shift in (_POINTS * np.sqrt(share)).tolist()]


def ewma_run_length(*, weight: float, width: float, share: float) -> float:
    """Mean number of months to a false call of an EWMA whose centre line is an estimate.

    Args:
        share: variance of the centre line in units of a month's; the limits are drawn wider.
    Method: ewma_arl at seven values of what the centre line may be off, as rates.
    Weak when: limits vary with n.
    """
    grown = weight / (2 - weight)
    wide = width * float(np.sqrt((grown + share) / grown))
    rates = [
        1 / ewma_arl(weight=weight, width=wide, shift=float(shift))
        for shift in np.abs(_POINTS[:4]) * np.sqrt(share)
    ]
    return float(1 / (np.array([*rates, *rates[2::-1]]) @ _WEIGHTS))


def spread_run_length(
    n: Floats, lcl: Floats, ucl: Floats, *, sigma: float, freedom: float
) -> float:
    """Mean number of months to a false call of an S-chart as drawn.

    Args: sigma, freedom: the baseline's standard deviation within months and its degrees.
    Method: S²/sigma² follows the F distribution, since sigma is an estimate.
    """
    degrees = n - 1
    with np.errstate(invalid="ignore"):
        above = fdtrc(degrees, freedom, (ucl / sigma) ** 2)
        rate = above + fdtr(degrees, freedom, (lcl / sigma) ** 2)
    rate = rate[np.isfinite(rate)]
    return float(1 / rate.mean()) if len(rate) and rate.mean() else float("nan")


def between_call_rate(lcl: float, ucl: float, *, events: float, others: float) -> float:
    """False calls an event of a g-chart as drawn: the share is as uncertain as its baseline.

    Method: beta-geometric: P(K ≥ k) = B(a, b + k) / B(a, b), with Jeffreys' 1/2.
    """
    a, b = events + 0.5, others + 0.5

    def at_least(k: float) -> float:
        return float(np.exp(betaln(a, b + k) - betaln(a, b)))

    return at_least(np.floor(ucl) + 1) + 1 - at_least(np.ceil(lcl))


def drawn_run_length(
    series: SeriesMonths, drawn: DrawnSeries, *, sigmas: float, rules: Sequence[str] = ()
) -> float:
    """Mean number of points to a false call of a monthly chart as drawn; nan where not known.

    Args: as shewhart_run_length; rules count for Shewhart kinds only.
    """
    kind, base = drawn.kind.code, series.is_baseline
    if not base.any():
        return float("nan")
    if kind == "cusum":
        return CUSUM_ARL
    if kind == "ewma":
        typical = float(np.median(series.n))
        share = typical / float(series.n[base].sum())
        return ewma_run_length(weight=EWMA_WEIGHT, width=EWMA_WIDTH, share=share)
    if kind == "s":
        later = ~base if (~base).any() else base
        sigma = pooled_sd(series.spread[base], series.n[base])
        return spread_run_length(
            series.n[later],
            drawn.lcl[later],
            drawn.ucl[later],
            sigma=sigma,
            freedom=freedom_of(series, "xbar"),
        )
    scale = np.where(series.n > 0, series.n, 1.0) if kind in ("np", "c") else 1.0
    lines = drawn.centre / scale, drawn.lcl / scale, drawn.ucl / scale
    freedom = freedom_of(series, kind)
    return shewhart_run_length(
        series, lines, kind=kind, sigmas=sigmas, rules=rules, freedom=freedom
    )
