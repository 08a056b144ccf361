"""Same patient again, anywhere in the network, because the exam before was not reliable."""

import polars as pl

from qa.model.words import OrderType, Outcome

NOT_RELIABLE = (Outcome.UNRELIABLE, Outcome.INCOMPLETE, Outcome.FAILED)
PLANNED = (OrderType.FOLLOW_UP, OrderType.CONFIRMATION)


def with_repeats(frame: pl.DataFrame, *, window_days: int) -> pl.DataFrame:
    """Adds is_repeat: the patient's last exam, anywhere in the network, was not reliable.

    Sorts once and looks one row back; no group per patient. A planned follow-up or
    confirmation is no repeat.
    """
    started = (
        frame.filter("is_performed")
        .select("exam_key", "patient_key", "order_type", "outcome", "exam_at", "is_date_nominal")
        .sort("patient_key", "exam_at", "exam_key")
    )
    gap = pl.col("exam_at") - pl.col("exam_at").shift()
    is_repeat = (
        (pl.col("patient_key") == pl.col("patient_key").shift())
        & pl.col("outcome").shift().is_in(NOT_RELIABLE)
        & (gap > pl.duration())
        & (gap <= pl.duration(days=window_days))
        & ~pl.col("order_type").is_in(PLANNED)
        & ~pl.col("is_date_nominal")
        & ~pl.col("is_date_nominal").shift()
    )
    repeats = started.filter(is_repeat)["exam_key"]
    return frame.with_columns(is_repeat=pl.col("exam_key").is_in(repeats.implode()))
