"""Preparation steps, and the verdict on the whole set with all of its reasons."""

import polars as pl

from qa.assess.limits import reaches
from qa.model.words import Kept, Outcome, Reason


def _kept(is_kept: pl.Expr, *, otherwise: pl.Expr) -> pl.Expr:
    """kept or breach where it can be said, else what the other expression says."""
    return (
        pl.when(~pl.col("is_performed"))
        .then(pl.lit(Kept.NOT_RECORDED.value))
        .when(is_kept)
        .then(pl.lit(Kept.KEPT.value))
        .when(~is_kept)
        .then(pl.lit(Kept.BREACH.value))
        .otherwise(otherwise.fill_null(Kept.NOT_RECORDED.value))
    )


def with_preparation(frame: pl.DataFrame) -> pl.DataFrame:
    """Adds each step and all asked-for steps together; a set that asks for none is kept."""
    hours_kept = reaches(pl.col("fasting_hours"), pl.col("rule_min_fasting_hours"))
    rest_kept = reaches(pl.col("rest_minutes"), pl.col("rule_min_rest_minutes"))
    nothing = pl.lit(None, dtype=pl.Boolean)
    steps = frame.with_columns(
        fasting=_kept(hours_kept, otherwise=pl.col("fasting_stated")),
        rest=_kept(rest_kept, otherwise=pl.lit(None, dtype=pl.String)),
        position=_kept(nothing, otherwise=pl.col("position_stated")),
    )
    asked = {
        "fasting": pl.col("rule_min_fasting_hours").is_not_null(),
        "rest": pl.col("rule_min_rest_minutes").is_not_null(),
        "position": pl.col("rule_is_position_asked"),
    }

    def is_any(word: Kept) -> pl.Expr:
        return pl.any_horizontal(
            is_asked & (pl.col(step) == word) for step, is_asked in asked.items()
        )

    together = (
        pl.when(is_any(Kept.BREACH))
        .then(pl.lit(Kept.BREACH.value))
        .when(is_any(Kept.NOT_RECORDED))
        .then(pl.lit(Kept.NOT_RECORDED.value))
        .otherwise(pl.lit(Kept.KEPT.value))
    )
    return steps.with_columns(
        [is_asked.alias(f"is_{step}_asked") for step, is_asked in asked.items()]
    ).with_columns(preparation=together)


def with_verdict(frame: pl.DataFrame) -> pl.DataFrame:
    """Adds is_met and every reason that applies, in the order of Reason."""
    in_verdict = pl.col("rule_is_preparation_part")

    def is_breach(step: str) -> pl.Expr:
        return in_verdict & pl.col(f"is_{step}_asked") & (pl.col(step) == Kept.BREACH)

    is_ruled = pl.col("is_ruled")
    is_unknown = pl.col("outcome") == Outcome.NOT_JUDGED
    is_preparation_unknown = in_verdict & (pl.col("preparation") == Kept.NOT_RECORDED)
    applies = {
        Reason.FASTING_BREACH: is_breach("fasting"),
        Reason.REST_BREACH: is_breach("rest"),
        Reason.POSITION_BREACH: is_breach("position"),
        Reason.NO_VALID_MEASUREMENT: is_ruled & pl.col("has_none"),
        Reason.TOO_FEW_VALID: is_ruled & pl.col("has_few"),
        Reason.SUCCESS_RATE: is_ruled & ~pl.col("has_none") & pl.col("is_low_success"),
        Reason.SPREAD: is_ruled & ~pl.col("has_none") & pl.col("is_wide"),
        Reason.MISSING_FIGURE: is_ruled & (is_unknown | is_preparation_unknown),
    }
    bits = pl.sum_horizontal(
        (pl.col("is_performed") & applies[reason]).fill_null(False).cast(pl.Int32) * 2**bit
        for bit, reason in enumerate(Reason)
    )
    is_met = (pl.col("outcome") == Outcome.RELIABLE) & (
        ~in_verdict | (pl.col("preparation") == Kept.KEPT)
    )
    judged_rows = frame.with_columns(reason_bits=bits, is_met=is_met)
    return judged_rows.join(
        _reason_lists(), on="reason_bits", how="left", maintain_order="left"
    ).drop("reason_bits")


def _reason_lists() -> pl.DataFrame:
    """Every combination of reasons as a bit pattern, with its words in the order of Reason."""
    words = [reason.value for reason in Reason]
    patterns = range(2 ** len(words))
    lists = [[word for bit, word in enumerate(words) if bits >> bit & 1] for bits in patterns]
    return pl.DataFrame(
        {"reason_bits": list(patterns), "reasons": lists},
        schema={"reason_bits": pl.Int32, "reasons": pl.List(pl.String)},
    )
