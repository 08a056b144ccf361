"""Values such as ">75": a device that could not go further says so with a sign.

Read only where the value is the device's own limit, from the device in network.toml or from
[limits] of the profile; anything else that carries a sign waits, because what was measured is not
known.
"""

import polars as pl

from qa.intake.numbers import as_number
from qa.intake.units import is_at_limit
from qa.model.definitions import Profile

SIGNED = ("stiffness", "attenuation")
"""Medians that may carry a sign; an IQR or a count beyond a limit cannot be used."""
NEAR_SHARE = 0.01
"""A limit in kPa stands in files rounded to what the device shows, or as a speed. Proposal of this
tool."""

_SIGN = r"^([<>]=?|[≤≥])\s*"


def read_limit_signs(rows: pl.DataFrame, *, decimal: str, scales: dict[str, float]) -> pl.DataFrame:
    """Take the sign off cells that are a number but for it.

    Args:
        rows: `<target>_word`, `<target>_number`, `<target>_is_read`, `<target>_other_sign` of
            SIGNED.
        scales: target → what its numbers are multiplied by.
    Returns: rows with `<target>_sign` (-1: at the lower end, 1: at the upper end, null: no sign);
        word and number of signed cells are those without it.
    """
    nothing = [pl.lit(None, pl.Int8).alias(f"{name}_sign") for name in SIGNED]
    rows = rows.with_columns(nothing)
    signed = [name for name in SIGNED if _has_sign(rows, name)]
    rows = rows.with_columns(one for name in signed for one in _take_off(name))
    return rows.with_columns(
        one for name in signed for one in _read(name, decimal, scales.get(name, 1.0))
    )


def _has_sign(rows: pl.DataFrame, name: str) -> bool:
    unread = rows.filter(pl.col(f"{name}_word").is_not_null() & ~pl.col(f"{name}_is_read"))
    return bool(unread[f"{name}_word"].str.contains(_SIGN).any())


def _take_off(name: str) -> list[pl.Expr]:
    word = pl.col(f"{name}_word")
    sign = word.str.extract(_SIGN)
    is_upper = sign.str.contains("[>≥]")
    return [
        pl.when(sign.is_not_null())
        .then(pl.when(is_upper).then(1).otherwise(-1).cast(pl.Int8))
        .alias(f"{name}_sign"),
        word.str.replace(_SIGN, "").alias(f"{name}_word"),
    ]


def _read(name: str, decimal: str, scale: float) -> list[pl.Expr]:
    word, is_signed = pl.col(f"{name}_word"), pl.col(f"{name}_sign").is_not_null()
    own = as_number(word, decimal=decimal)
    other = as_number(word, decimal="," if decimal == "." else ".")
    found = {
        "number": own * scale,
        "is_read": own.is_not_null(),
        "other_sign": own.is_null() & other.is_not_null(),
    }
    return [
        pl.when(is_signed).then(one).otherwise(f"{name}_{part}").alias(f"{name}_{part}")
        for part, one in found.items()
    ]


_COMMON = {"stiffness": "stiffness_kpa", "attenuation": "attenuation_db_m"}


def signs_at_limits(rows: pl.DataFrame, profile: Profile) -> list[pl.Expr]:
    """`<quantity>_is_sign_right`: a value with a sign is its device's limit; null without sign."""
    found = []
    for name in SIGNED:
        sign = f"{name}_sign"
        is_right = pl.lit(None, pl.Boolean)
        if rows[sign].null_count() < rows.height:
            is_there = pl.col(f"{name}_number").is_not_null()
            limits = _limits_of(name, profile)
            is_right = pl.when(is_there).then(
                _is_sign_at_limit(pl.col(_COMMON[name]), pl.col(sign), *limits)
            )
        found.append(is_right.alias(f"{name}_is_sign_right"))
    return found


def is_censored(quantity: str, rows: pl.DataFrame, profile: Profile) -> pl.Expr:
    """True at a limit; a sign counts only there, so without any limit nothing is censored."""
    if not _has_limits(quantity, rows, profile):
        return pl.lit(value=False)
    is_signed = pl.col(f"{quantity}_is_sign_right").fill_null(value=False)
    return is_signed | is_at_limit(pl.col(_COMMON[quantity]), *_limits_of(quantity, profile))


def _has_limits(quantity: str, rows: pl.DataFrame, profile: Profile) -> bool:
    """The profile states limits, or the device of a row does."""
    unit = "kpa" if quantity == "stiffness" else "db_m"
    of_devices = rows[f"device_{quantity}_lowest"]
    is_stated = getattr(profile, f"{quantity}_limits_{unit}") is not None
    return is_stated or of_devices.null_count() < rows.height


def _limits_of(quantity: str, profile: Profile) -> tuple[pl.Expr, pl.Expr]:
    """Lowest and highest value that the row's device shows: its own, else the profile's; or null.

    quantity: "stiffness" (kPa) or "attenuation" (dB/m).
    """
    unit = "kpa" if quantity == "stiffness" else "db_m"
    stated = getattr(profile, f"{quantity}_limits_{unit}") or (None, None)
    low, high = (
        pl.coalesce(f"device_{quantity}_{end}", pl.lit(value, pl.Float64))
        for end, value in zip(("lowest", "highest"), stated, strict=True)
    )
    return low, high


def _is_sign_at_limit(value: pl.Expr, sign: pl.Expr, low: pl.Expr, high: pl.Expr) -> pl.Expr:
    """True where a signed value is the device's limit on its sign's side; null without sign."""
    limit = pl.when(sign > 0).then(high).when(sign < 0).then(low)
    is_near = (value - limit).abs() <= NEAR_SHARE * limit.abs()
    return pl.when(sign.is_not_null()).then(is_near.fill_null(value=False))
