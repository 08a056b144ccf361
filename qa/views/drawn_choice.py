"""What a person may choose about a drawn chart, as it stands in a link."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from qa.charts.kinds import CHART_KINDS
from qa.charts.published_rules import (
    PUBLISHED_RULE_KEYS,
    published_rule,
    rule_title,
    width_of_share,
)
from qa.views import words

NO_RULES = "none"
MONTHS, QUARTERS = "month", "quarter"
POOLS: dict[str, str] = {MONTHS: "months", QUARTERS: "quarters"}

# Offered as links; any other width may stand in the address.
OFFERED_LIMITS: tuple[str, ...] = ("3s", "2s", "2.5s", "95p", "99p", "99.8p")

_LIMITS = re.compile(r"(\d{1,2}(?:\.\d{1,3})?)([sp])")


@dataclass(frozen=True)
class DrawChoice:
    """What the address asks for. None: the tool's or the network's own choice.

    Args:
        kind: code of CHART_KINDS.
        limits: "3s" is three sigma, "99.8p" the limits within which 99.8 % of months lie.
        rules: keys of RUN_RULES joined by commas, or "none".
        pool: "month" or "quarter".
    """

    kind: str | None = None
    limits: str | None = None
    rules: str | None = None
    pool: str | None = None


def find_kind(code: str) -> str | None:
    """The code, where there is such a kind of chart."""
    return code if code in CHART_KINDS else None


def find_limits(text: str) -> float | None:
    """Width in sigma of limits as they stand in a link; None where that is no width.

    Example: "3s" → 3.0; "95p" → 1.96; "0.5s" → None
    """
    found = _LIMITS.fullmatch(text)
    if not found:
        return None
    number = float(found[1])
    if found[2] == "s":
        return number if 1 <= number <= 6 else None
    return width_of_share(number) if 50 <= number < 100 else None


def find_rules(text: str) -> tuple[str, ...] | None:
    """Keys of run rules; () for "none", None where one is unknown."""
    if text == NO_RULES:
        return ()
    keys = tuple(dict.fromkeys(text.split(",")))
    return keys if set(keys) <= set(PUBLISHED_RULE_KEYS) else None


def find_pool(text: str) -> str | None:
    return text if text in POOLS else None


def limits_words(text: str) -> str:
    """Example: "3s" → "3 sigma"; "99.8p" → "99.8 %"."""
    return f"{text[:-1]} sigma" if text.endswith("s") else f"{text[:-1]} %"


def limits_text(sigmas: float) -> str:
    """Example: 3.0 → "3s"."""
    return f"{sigmas:g}s"


def rules_words(keys: Sequence[str]) -> str:
    """Example: "no run rules" or "Western Electric 2 and Nelson 3"."""
    return words.listed([rule_title(key) for key in keys]) if keys else "no run rules"


def switched(keys: Sequence[str], key: str) -> str:
    """The rules with one switched on or off, as they stand in a link."""
    kept = [one for one in PUBLISHED_RULE_KEYS if (one in keys) != (one == key)]
    return ",".join(kept) or NO_RULES


@dataclass(frozen=True)
class RuleOption:
    """A published run rule to switch: its words, its run length alone, whether it is on."""

    key: str
    title: str
    sentence: str
    arl: float
    is_on: bool
    when_switched: str


def rule_options(keys: Sequence[str]) -> tuple[RuleOption, ...]:
    """Every published rule but the limits themselves, which are always on."""
    return tuple(
        RuleOption(
            one.key, one.title, one.sentence, one.arl, one.key in keys, switched(keys, one.key)
        )
        for one in map(published_rule, PUBLISHED_RULE_KEYS)
    )
