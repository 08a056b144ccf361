"""Run rules of 1956 and 1984 on drawn charts: words, run lengths, and where they call."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from qa.charts.draw import DrawnSeries
from qa.stats.run_rules import RUN_RULES
from qa.stats.run_rules_alone import rule_arl


@dataclass(frozen=True)
class PublishedRule:
    """A rule as published. arl: mean number of points until it alone calls by chance."""

    key: str
    title: str
    sentence: str
    arl: float


PUBLISHED_RULE_KEYS: tuple[str, ...] = tuple(RUN_RULES)


def published_rule(key: str) -> PublishedRule:
    rule = RUN_RULES[key]
    return PublishedRule(key, rule.title, rule.sentence, rule_arl(key))


def rule_title(key: str) -> str:
    return RUN_RULES[key].title


def width_of_share(percent: float) -> float:
    """Width in sigma of limits within which so many per cent of normal values lie.

    Example: 95 → 1.96; 99.8 → 3.09
    """
    return float(ndtri(0.5 + percent / 200))


def broken_rules(
    drawn: DrawnSeries,
    *,
    sigmas: float,
    rules: Sequence[str],
    early: NDArray[np.bool_],
) -> list[tuple[str, ...]]:
    """Keys of the run rules that each point breaks.

    Args:
        sigmas: what the limits drawn stand for; they step with n, and a point on one counts as
            `sigmas` from the centre whatever its n, so the rules fit charts of counts as well.
        early: points up to the end of the baseline: nothing is called there, and no run begins.
    """
    size = len(drawn.value)
    if not rules or not size:
        return [()] * size
    with np.errstate(invalid="ignore", divide="ignore"):
        above = (drawn.value - drawn.centre) / (drawn.ucl - drawn.centre)
        below = (drawn.value - drawn.centre) / (drawn.centre - drawn.lcl)
    z = np.nan_to_num(np.where(drawn.value >= drawn.centre, above, below) * sigmas)
    segments = np.where(early, np.arange(size), size).astype(np.int64)
    hits = {key: RUN_RULES[key].finds(z, segments) & ~early for key in rules}
    return [tuple(key for key in rules if hits[key][place]) for place in range(size)]
