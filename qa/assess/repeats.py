"""Same patient again, anywhere in the network: of which kind, and whether it had to be.

Kinds and windows: "What makes a repeat", a proposal of this tool on grounds of published practice
(two measurements on different days before a high value is believed; at least six months after a
flare, a week after alcohol; duplicates that restarts leave in survey files). What a site declares
wins; dates decide only where nothing is declared, and the kind is then marked as inferred.
"""

from datetime import date

import polars as pl

from qa.model.definitions import Settings
from qa.model.words import OrderType, Outcome, Performed, RepeatKind

NOT_RELIABLE = (Outcome.UNRELIABLE, Outcome.INCOMPLETE, Outcome.FAILED)
PLANNED = (OrderType.FOLLOW_UP, OrderType.CONFIRMATION, OrderType.DEFERRED)
DECLARED = {
    OrderType.RECALL: RepeatKind.RECALL,
    OrderType.CONFIRMATION: RepeatKind.CONFIRMATION,
    OrderType.DEFERRED: RepeatKind.DEFERRED,
    OrderType.FOLLOW_UP: RepeatKind.FOLLOW_UP,
}
"""`first` declares nothing here: first at this site may be the second in the network."""

_FIGURES = ("stiffness_value", "stiffness_iqr", "n_valid", "n_attempted", "attenuation_value")
_READ = (
    *("exam_key", "patient_key", "device_id", "order_type", "outcome", "performed"),
    *("is_performed", "exam_at", "exam_on", "is_date_nominal", *_FIGURES),
)
_ADDED = (
    *("repeat_kind", "is_repeat_inferred", "is_repeat", "is_repeated"),
    *("is_session_first", "is_session_final"),
)
_NOTHING = pl.duration()


def with_repeats(
    frame: pl.DataFrame, *, settings: Settings, horizon_on: date | None
) -> pl.DataFrame:
    """Adds repeat_kind, is_repeat_inferred, is_repeat, is_repeated, is_session_first and _final.

    Args:
        frame: judged exams with the patients' exams before and after them.
        horizon_on: last day that is known; a window that reaches beyond it is not over.
    Returns: the same rows in the same order.
    Method: sorted once; each exam looks at the patient's exam before and after it. A try that was
        started again is put aside first, so the exam that came of it is compared with the exam
        before. Nominal dates say nothing about intervals.
    Weak when: a patient changes identifiers; several people share one.
    """
    rows = frame.select(_READ).sort("patient_key", "exam_at", "exam_key")
    rows = rows.with_columns(is_put_off=_is_put_off(settings)).filter("is_performed")
    rows = rows.with_columns(is_restarted=_is_restarted(settings))
    own = rows.filter(~pl.col("is_restarted")).with_columns(**_looked_back(settings))
    own = own.with_columns(repeat_kind=_kind()).with_columns(**_looked_ahead())
    own = own.with_columns(is_repeated=_is_repeated(settings, horizon_on))
    tries = rows.filter("is_restarted").select(
        "exam_key",
        repeat_kind=pl.lit(RepeatKind.RESTART.value),
        is_repeat_inferred=True,
        is_repeat=False,
        is_repeated=pl.lit(None, pl.Boolean),
        is_session_first=False,
        is_session_final=False,
    )
    found = pl.concat([own.select("exam_key", *_ADDED), tries])
    flags = [name for name in _ADDED if name not in ("repeat_kind", "is_repeated")]
    return frame.join(found, on="exam_key", how="left", maintain_order="left").with_columns(
        pl.col(flags).fill_null(value=False)
    )


def _before(name: str) -> pl.Expr:
    return pl.col(name).shift()


def _same_patient() -> pl.Expr:
    """The row before is the same patient's, and both dates are exact."""
    is_exact = ~pl.col("is_date_nominal") & ~_before("is_date_nominal")
    return (pl.col("patient_key") == _before("patient_key")) & is_exact


def _gap() -> pl.Expr:
    return pl.col("exam_at") - _before("exam_at")


def _is_put_off(settings: Settings) -> pl.Expr:
    """The patient's row before was not started as ineligible, some days ago."""
    waited = _gap() >= pl.duration(days=settings.deferred_after_days)
    was_ineligible = _before("performed") == Performed.INELIGIBLE
    return (_same_patient() & was_ineligible & waited).fill_null(value=False)


def _is_restarted(settings: Settings) -> pl.Expr:
    """The next exam is this one again: same device, within minutes, no result or equal figures."""
    had_no_result = (_before("outcome") == Outcome.FAILED) & _before("stiffness_value").is_null()
    is_equal = pl.col("stiffness_value").is_not_null() & pl.all_horizontal(
        pl.col(name).eq_missing(_before(name)) for name in _FIGURES
    )
    is_again = (
        _same_patient()
        & (pl.col("device_id") == _before("device_id"))
        & (_gap() <= pl.duration(minutes=settings.restart_window_minutes))
        & ((had_no_result & (_gap() > _NOTHING)) | is_equal)
    )
    return is_again.shift(-1).fill_null(value=False)


def _looked_back(settings: Settings) -> dict[str, pl.Expr]:
    """What the patient's exam before says: null turns into no."""
    is_again = _same_patient() & (_gap() > _NOTHING)
    was_poor = _before("outcome").is_in(NOT_RELIABLE)
    in_window = _gap() <= pl.duration(days=settings.repeat_window_days)
    in_confirmation = _gap() <= pl.duration(days=settings.confirmation_window_days)
    is_late = _gap() > pl.duration(days=settings.follow_up_after_days)
    is_other_day = pl.col("exam_on") != _before("exam_on")
    is_planned = pl.col("order_type").is_in(PLANNED)
    facts = {
        "is_repeat": is_again & was_poor & in_window & ~is_planned,
        "is_same_day": is_again & ~is_other_day,
        "is_confirming": is_again
        & is_other_day
        & in_confirmation
        & (_before("outcome") == Outcome.RELIABLE),
        "is_following": is_again & is_late,
    }
    return {name: fact.fill_null(value=False) for name, fact in facts.items()}


def _kind() -> pl.Expr:
    """What was declared; else the first kind that the dates allow."""
    declared = pl.col("order_type").replace_strict(DECLARED, default=None, return_dtype=pl.String)
    allowed = (
        (pl.col("is_repeat") & pl.col("is_same_day"), RepeatKind.SAME_SESSION),
        (pl.col("is_repeat"), RepeatKind.RECALL),
        (pl.col("is_put_off"), RepeatKind.DEFERRED),
        (pl.col("is_confirming"), RepeatKind.CONFIRMATION),
        (pl.col("is_following"), RepeatKind.FOLLOW_UP),
    )
    inferred = pl.coalesce(pl.when(is_so).then(pl.lit(kind.value)) for is_so, kind in allowed)
    return pl.coalesce(declared, inferred)


def _looked_ahead() -> dict[str, pl.Expr]:
    is_session_repeat = pl.col("is_repeat") & pl.col("is_same_day")
    is_inferred = pl.col("repeat_kind").is_not_null() & ~pl.col("order_type").is_in(list(DECLARED))
    return {
        "is_repeat_inferred": is_inferred,
        "is_session_first": ~is_session_repeat,
        "is_session_final": ~is_session_repeat.shift(-1).fill_null(value=False),
        "is_next_repeat": pl.col("is_repeat").shift(-1).fill_null(value=False),
    }


def _is_repeated(settings: Settings, horizon_on: date | None) -> pl.Expr:
    """Null where the exam was reliable, or its window is not over."""
    window = pl.duration(days=settings.repeat_window_days)
    is_over = pl.col("exam_on") + window <= pl.lit(horizon_on, pl.Date)
    is_asked = pl.col("outcome").is_in(NOT_RELIABLE) & ~pl.col("is_date_nominal") & is_over
    return pl.when(is_asked).then("is_next_repeat")
