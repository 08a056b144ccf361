"""Gauge repeatability and reproducibility: the same parts, several operators, several trials."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

from qa.stats.constants import chart_constants, range_moments

Floats = NDArray[np.float64]
NDC_FACTOR = 1.41


@dataclass(frozen=True)
class Gauge:
    """Standard deviations of a crossed study, as the trade names them.

    Args:
        ev: repeatability (the same operator again). av: between operators. grr: both together.
        pv: between parts. tv: all.
        has_interaction: operators differ more on some parts; it is counted in av.
    """

    ev: float
    av: float
    grr: float
    pv: float
    tv: float
    has_interaction: bool = False

    @property
    def reproducibility(self) -> float:
        """Of one measurement by any operator, in the sense of ISO 5725: both parts together."""
        return self.grr

    @property
    def grr_share(self) -> float:
        """Of the whole scatter, as standard deviations ("% GRR")."""
        return self.grr / self.tv if self.tv else float("nan")

    @property
    def distinct_categories(self) -> float:
        return NDC_FACTOR * self.pv / self.grr if self.grr else float("inf")


@dataclass(frozen=True)
class CrossedAnova:
    """Mean squares of parts by operators with trials; pooled: error with the interaction."""

    ms_part: float
    ms_operator: float
    ms_interaction: float
    ms_error: float
    f_interaction: float
    p_interaction: float
    ms_pooled: float


def crossed_anova(values: ArrayLike) -> CrossedAnova:
    """Two-way analysis of variance with interaction.

    Args:   values: shape (parts, operators, trials), each at least 2, no gap.
    Raises: ValueError for another shape.
    References: AIAG, Measurement Systems Analysis, 4th edition 2010, appendix A.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 3 or min(x.shape) < 2:
        raise ValueError("parts, operators and trials are needed, at least two of each")
    p, o, t = x.shape
    grand, cells = x.mean(), x.mean(axis=2)
    parts, operators = x.mean(axis=(1, 2)), x.mean(axis=(0, 2))
    ss_part = o * t * ((parts - grand) ** 2).sum()
    ss_operator = p * t * ((operators - grand) ** 2).sum()
    ss_interaction = t * ((cells - parts[:, None] - operators[None] + grand) ** 2).sum()
    ss_error = ((x - cells[:, :, None]) ** 2).sum()
    df_interaction, df_error = (p - 1) * (o - 1), p * o * (t - 1)
    ms_interaction, ms_error = ss_interaction / df_interaction, ss_error / df_error
    f = ms_interaction / ms_error if ms_error else float("inf")
    return CrossedAnova(
        ms_part=float(ss_part / (p - 1)),
        ms_operator=float(ss_operator / (o - 1)),
        ms_interaction=float(ms_interaction),
        ms_error=float(ms_error),
        f_interaction=float(f),
        p_interaction=float(fdtrc(df_interaction, df_error, f)),
        ms_pooled=float((ss_interaction + ss_error) / (df_interaction + df_error)),
    )


def gauge_by_anova(values: ArrayLike, *, pool_above: float = 0.05) -> Gauge:
    """Repeatability and reproducibility by analysis of variance.

    Args:
        values: shape (parts, operators, trials), each at least 2.
        pool_above: p above which the interaction is taken for chance and pooled with the error.
    Method: components of variance; negative ones count as 0.
    Weak when: there are two or three operators: what lies between them is then hardly known.
    References: AIAG, Measurement Systems Analysis, 4th edition 2010, chapter III.
    """
    p, o, t = np.asarray(values).shape
    found = crossed_anova(values)
    is_pooled = found.p_interaction > pool_above
    error = found.ms_pooled if is_pooled else found.ms_error
    beside = error if is_pooled else found.ms_interaction
    interaction = 0.0 if is_pooled else max((found.ms_interaction - error) / t, 0.0)
    operators = max((found.ms_operator - beside) / (p * t), 0.0)
    parts = max((found.ms_part - beside) / (o * t), 0.0)
    return _gauge(error, operators + interaction, parts, has_interaction=not is_pooled)


def gauge_by_ranges(
    values: ArrayLike, *, factors: tuple[float, float, float] | None = None
) -> Gauge:
    """The same by averages and ranges, as worked by hand.

    Args:   factors: K1, K2, K3 as printed (rounded); None: by formula.
    References: AIAG, Measurement Systems Analysis, 4th edition 2010, chapter III.
    """
    x = np.asarray(values, dtype=np.float64)
    p, o, t = x.shape
    k1, k2, k3 = factors or (1 / chart_constants(t).d2, _one_range(o), _one_range(p))
    ev = float(np.ptp(x, axis=2).mean() * k1)
    between = float(np.ptp(x.mean(axis=(0, 2))) * k2)
    parts = float(np.ptp(x.mean(axis=(1, 2))) * k3)
    return _gauge(ev**2, max(between**2 - ev**2 / (p * t), 0.0), parts**2)


def _one_range(n: int) -> float:
    """Sigma from the range of a single sample of n."""
    mean, sd = range_moments(n)
    return float(1 / np.hypot(mean, sd))


def _gauge(error: float, operators: float, parts: float, *, has_interaction: bool = False) -> Gauge:
    grr = error + operators
    ev, av, both, pv, tv = (
        float(np.sqrt(one)) for one in (error, operators, grr, parts, grr + parts)
    )
    return Gauge(ev, av, both, pv, tv, has_interaction)
