"""Choose the chart that fits a series, and say why."""

from dataclasses import dataclass

import numpy as np

from qa.charts.kinds import CHART_KINDS, ChartKind, Quantity, kinds_for
from qa.charts.months_of import SeriesMonths
from qa.stats.laney import sigma_z
from qa.stats.means import pooled_sd
from qa.stats.overdispersion import binomial_dispersion, poisson_dispersion

# Fewest months of a baseline from which more spread than chance is believed.
MIN_MONTHS = 12

# Spread beyond chance counts where it is this large and as rare by chance as P_VALUE.
MIN_SIGMA_Z = 1.2
MAX_NARROW_SIGMA_Z = 0.8
P_VALUE = 0.01

# Fewer expected events a month than this: exam by exam instead of month by month.
RARE_EVENTS = 1.0
FEW_EVENTS = 5.0


@dataclass(frozen=True)
class ChosenChart:
    """The chart that fits, why, what the choice rests on, and what else can be chosen.

    Args:
        warning: what weakens it; "" where nothing does.
        expected: events expected in a typical month, of the rarer kind; nan for means.
        sigma_z: spread between months in units of chance; nan where it is not known.
    """

    kind: ChartKind
    reason: str
    warning: str
    expected: float
    sigma_z: float
    others: tuple[ChartKind, ...]


def choose_chart(series: SeriesMonths) -> ChosenChart:
    """Choose by the kind of figure, the events expected and the spread of the baseline.

    Args:
        series: months of one series; without a baseline the months so far stand in.
    Returns: ChosenChart.
    Method: shares: exam by exam (g) where less than one event of the rarer kind is expected in
        a typical month; p′ where a baseline of 12 months or more spreads by more than chance
        (sigma_z 1.2 or more, dispersion test below 0.01); else p. Rates: u′ or u alike, and
        individuals where months differ by less than Poisson chance (sigma_z 0.8 or less), as
        counts with a planned number do. Means: individuals where monthly means wander by more
        than exams within a month explain; else X̄.
    Weak when: the baseline itself drifted: its spread then widens the limits.
    """
    used = series.is_baseline if series.is_baseline.any() else np.ones(len(series.n), dtype=bool)
    n_months = int(used.sum())
    code, reason, expected, spread = _CHOOSERS[series.quantity](series, used)
    kind = CHART_KINDS[code]
    others = tuple(one for one in kinds_for(series.quantity) if one is not kind)
    return ChosenChart(kind, reason, _warning(series, n_months), expected, spread, others)


def z_of_months(series: SeriesMonths, used: np.ndarray) -> np.ndarray:
    """Distance of the months used from their common centre, in standard errors of chance."""
    n, total = series.n[used], series.total[used]
    centre = total.sum() / n.sum() if n.sum() else np.nan
    if series.quantity == Quantity.SHARE:
        unit = centre * (1 - centre)
    elif series.quantity == Quantity.RATE:
        unit = centre
    else:
        unit = pooled_sd(series.spread[used], n) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray((total / n - centre) / np.sqrt(unit / n))


def _warning(series: SeriesMonths, n_months: int) -> str:
    if not series.is_baseline.any():
        return "No baseline yet: the months so far stand in, and nothing is called."
    if n_months < MIN_MONTHS:
        return (
            f"The baseline has {n_months} months; with fewer than {MIN_MONTHS} its limits are "
            "hardly known."
        )
    return ""


def _wide(series: SeriesMonths, used: np.ndarray) -> float:
    """sigma_z of the months used; nan for too few to say."""
    z = z_of_months(series, used)
    z = z[np.isfinite(z)]
    return sigma_z(z) if len(z) >= MIN_MONTHS else float("nan")


def _choose_share(series: SeriesMonths, used: np.ndarray) -> tuple[str, str, float, float]:
    n, events = series.n[used], series.total[used]
    share = events.sum() / n.sum() if n.sum() else np.nan
    expected = float(np.median(n) * min(share, 1 - share)) if len(n) else float("nan")
    spread = _wide(series, used)
    if not expected >= RARE_EVENTS:
        return "g", _rare_reason(expected), expected, spread
    if spread >= MIN_SIGMA_Z and binomial_dispersion(events, n).p < P_VALUE:
        return "p-prime", _wide_reason(spread, "binomial"), expected, spread
    if expected < FEW_EVENTS:
        return (
            "p",
            f"A share of exams with about {expected:.1f} expected a month: a p-chart with exact "
            "binomial limits where the numbers are small.",
            expected,
            spread,
        )
    return (
        "p",
        f"A share of exams with about {expected:.0f} expected a month, whose months differ by "
        "no more than chance: a p-chart.",
        expected,
        spread,
    )


def _choose_rate(series: SeriesMonths, used: np.ndarray) -> tuple[str, str, float, float]:
    n, total = series.n[used], series.total[used]
    expected = float(np.median(total)) if len(total) else float("nan")
    spread = _wide(series, used)
    if spread <= MAX_NARROW_SIGMA_Z:
        return (
            "individuals",
            f"Counts per exam that differ {spread:.1f} times as much as Poisson chance gives, so "
            "less: an individuals chart, whose limits come from the months themselves.",
            expected,
            spread,
        )
    if spread >= MIN_SIGMA_Z and poisson_dispersion(total, n).p < P_VALUE:
        return "u-prime", _wide_reason(spread, "Poisson"), expected, spread
    return "u", "Counts per exam without an upper end: a u-chart.", expected, spread


def _choose_mean(series: SeriesMonths, used: np.ndarray) -> tuple[str, str, float, float]:
    spread = _wide(series, used)
    if spread >= MIN_SIGMA_Z:
        return (
            "individuals",
            f"Monthly means differ {spread:.1f} times as much as exams within a month explain: "
            "an individuals chart, whose limits come from the months themselves.",
            float("nan"),
            spread,
        )
    reason = "A mean of one value per exam: an X̄-chart, with limits from the spread within months."
    return "xbar", reason, float("nan"), spread


def _rare_reason(expected: float) -> str:
    few = "Hardly any" if not expected >= 0.05 else f"About {expected:.1f}"
    return (
        f"{few} events are expected a month, too few for a share of months: a g-chart counts the "
        "exams between them."
    )


def _wide_reason(spread: float, chance: str) -> str:
    return (
        f"Months of the baseline differ {spread:.1f} times as much as {chance} chance gives: "
        "limits are widened by that."
    )


_CHOOSERS = {
    Quantity.SHARE: _choose_share,
    Quantity.RATE: _choose_rate,
    Quantity.MEAN: _choose_mean,
}
