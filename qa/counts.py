"""Outcomes → monthly counts that add up exactly.

Counts are sufficient statistics: those of a partition are the sums of those of its parts, so a
new month costs a new month. Sums of logarithms are kept as integers for that reason.
"""

from collections.abc import Sequence

import polars as pl

from qa.assess.limits import TOLERANCE
from qa.model.definitions import InForce
from qa.model.schemas import (
    COUNT_COLUMNS,
    COUNT_DIMENSIONS,
    GRADE_COUNTS,
    MONTHLY_COUNTS,
    ROW_COUNT_COLUMNS,
    ROW_COUNTS,
)
from qa.model.words import (
    AcquisitionMode,
    AttenuationOutcome,
    Kept,
    Outcome,
    Performed,
    Probe,
    RepeatKind,
)

DIMENSIONS = [column.name for column in COUNT_DIMENSIONS]
MEASURED = (Outcome.RELIABLE, Outcome.UNRELIABLE)
JUDGED = (*MEASURED, Outcome.INCOMPLETE, Outcome.FAILED)
ATTENUATION_JUDGED = (AttenuationOutcome.RELIABLE, AttenuationOutcome.UNRELIABLE)
RECORDED = (Kept.KEPT, Kept.BREACH)
LOW_SUCCESS_SHARE = 0.60
"""Castera et al., Hepatology 2010: a smaller share of valid measurements is too low."""
_MODES = {
    "chosen": AcquisitionMode.OPERATORS_CHOICE,
    "fixed": AcquisitionMode.FIXED_GROUP,
    "unstated": None,
}
MICRO = 1_000_000


def count_months(exams: pl.DataFrame, assessments: pl.DataFrame) -> pl.DataFrame:
    """Count exams by site, operator, device, probe, technique, month and criteria set.

    Args:
        exams: EXAMS in the versions that were judged.
        assessments: ASSESSMENTS of the same exams; an exam without one is in no count.
    Returns: MONTHLY_COUNTS, sorted by its key.
    Weak when: nothing; counts are exact. Logarithms are rounded to millionths per exam.
    """
    judged = _judged_exams(exams, assessments)
    is_try = (pl.col("repeat_kind") == RepeatKind.RESTART).fill_null(value=False)
    cells = judged.filter(~is_try).group_by(DIMENSIONS)
    counts = cells.agg([count.alias(name) for name, count in _counts().items()])
    with_tries = _add_tries(MONTHLY_COUNTS.conform(counts), judged.filter(is_try))
    return MONTHLY_COUNTS.conform(with_tries.sort(DIMENSIONS))


def count_rows(rows_read: pl.DataFrame, *, criteria: Sequence[InForce]) -> pl.DataFrame:
    """Count rows read and held back by site and month.

    Args:
        rows_read: ROWS_READ, of the newest reading of each file.
        criteria: the network's criteria sets with their first day. A month belongs to the set in
            force on its last day, so that its charts break where those of exams do; months before
            the first set are left out.
    Returns: ROW_COUNTS, sorted by its key.
    """
    days = pl.DataFrame(
        [(one.id, one.from_day) for one in sorted(criteria, key=lambda one: one.from_day)],
        schema={"criteria_id": pl.String, "from_day": pl.Date},
        orient="row",
    )
    last_day = pl.col("month").dt.month_end()
    placed = (
        rows_read.with_columns(last_day=last_day)
        .sort("last_day")
        .join_asof(days.sort("from_day"), left_on="last_day", right_on="from_day")
        .drop_nulls("criteria_id")
    )
    names = [column.name for column in ROW_COUNT_COLUMNS]
    counts = placed.group_by(ROW_COUNTS.key).agg(pl.col(names).sum())
    return ROW_COUNTS.conform(counts.sort(ROW_COUNTS.key))


def _add_tries(counts: pl.DataFrame, tries: pl.DataFrame) -> pl.DataFrame:
    """Tries that were started again are no exams of their own; their attempts are kept."""
    if tries.is_empty():
        return counts
    is_counted = (pl.col("outcome") == Outcome.FAILED) & _has_attempts()
    attempts = pl.when(is_counted).then("n_attempted")
    extra = tries.group_by(DIMENSIONS).agg(
        n_restarted=pl.len(), sum_attempted=attempts.cast(pl.Int64).sum()
    )
    zeros = [pl.lit(0, pl.Int64).alias(column.name) for column in COUNT_COLUMNS]
    filled = extra.with_columns(zero for zero in zeros if zero.meta.output_name() not in extra)
    both = pl.concat([counts, MONTHLY_COUNTS.conform(filled)])
    return both.group_by(DIMENSIONS).agg(pl.all().sum())


def count_grades(exams: pl.DataFrame, assessments: pl.DataFrame) -> pl.DataFrame:
    """Count performed exams by cell of the monthly counts, quantity, grade table and band.

    Args: as count_months.
    Returns: GRADE_COUNTS, sorted by its key; exams without a band are in no row.
    """
    judged = _judged_exams(exams, assessments).filter(
        pl.col("repeat_kind").ne_missing(RepeatKind.RESTART.value)
    )
    parts = [
        judged.filter(pl.col(f"{quantity}_band").is_not_null())
        .with_columns(
            quantity=pl.lit(quantity),
            table_id=pl.col(f"{quantity}_table_id"),
            band=pl.col(f"{quantity}_band"),
        )
        .group_by(*GRADE_COUNTS.key)
        .agg(n_exams=pl.len())
        for quantity in ("stiffness", "attenuation")
    ]
    return GRADE_COUNTS.conform(pl.concat(parts).sort(GRADE_COUNTS.key))


def count_each(exams: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """What each exam adds to columns of the monthly counts.

    Args:
        exams: exams joined with their assessments, one row per exam.
        columns: names of COUNT_COLUMNS.
    Returns: exam_key and the columns, one row per exam, in the order given.
    """
    counts = _counts()
    return exams.group_by("exam_key", maintain_order=True).agg(
        counts[name].alias(name) for name in dict.fromkeys(columns)
    )


def count_groups(
    judged: pl.DataFrame, *, by: Sequence[str], columns: Sequence[str]
) -> pl.DataFrame:
    """Sum columns of the monthly counts over groups of exams; restarted tries are left out.

    Args:
        judged: exams joined with their assessments, one row per exam.
        by: what makes a group; columns: names of COUNT_COLUMNS.
    Returns: by and columns, one row per group, in no particular order.
    """
    is_try = (pl.col("repeat_kind") == RepeatKind.RESTART).fill_null(value=False)
    counts = _counts()
    wanted = [counts[name].cast(pl.Int64).alias(name) for name in columns]
    return judged.filter(~is_try).group_by(by).agg(wanted)


def _judged_exams(exams: pl.DataFrame, assessments: pl.DataFrame) -> pl.DataFrame:
    own = [name for name in DIMENSIONS if name != "criteria_id"]
    numbers = ["exam_key", "performed", "n_valid", "n_attempted", "acquisition_mode", "duration_s"]
    return exams.select(*own, *numbers).join(
        assessments.drop("version_no"), on="exam_key", how="inner"
    )


def _n(is_counted: pl.Expr) -> pl.Expr:
    return is_counted.fill_null(False).sum()


def _counts() -> dict[str, pl.Expr]:
    """Every count of the schema as an aggregation; their order does not matter."""
    counts = _outcome_counts() | _preparation_counts() | _grade_and_spread_counts()
    counts |= _success_counts() | _repeat_counts() | {"n_restarted": pl.lit(0)}
    assert counts.keys() == {column.name for column in COUNT_COLUMNS}
    return counts


def _outcome_counts() -> dict[str, pl.Expr]:
    performed, outcome = pl.col("performed"), pl.col("outcome")
    attenuation = pl.col("attenuation_outcome")
    return {
        "n_exams": pl.len(),
        "n_performed": _n(performed == Performed.PERFORMED),
        "n_ineligible": _n(performed == Performed.INELIGIBLE),
        "n_refused": _n(performed == Performed.REFUSED),
        "n_not_done": _n(performed == Performed.NOT_DONE),
        "n_judged": _n(outcome.is_in(JUDGED)),
        "n_reliable": _n(outcome == Outcome.RELIABLE),
        "n_unreliable": _n(outcome == Outcome.UNRELIABLE),
        "n_incomplete": _n(outcome == Outcome.INCOMPLETE),
        "n_failed": _n(outcome == Outcome.FAILED),
        "n_not_judged": _n(outcome == Outcome.NOT_JUDGED),
        "n_measured": _n(outcome.is_in(MEASURED)),
        "n_met": _n(pl.col("is_met")),
        "n_attenuation_judged": _n(attenuation.is_in(ATTENUATION_JUDGED)),
        "n_attenuation_reliable": _n(attenuation == AttenuationOutcome.RELIABLE),
        "n_attenuation_unreliable": _n(attenuation == AttenuationOutcome.UNRELIABLE),
        "n_repeats": _n(pl.col("is_repeat")),
    }


def _repeat_counts() -> dict[str, pl.Expr]:
    kind, outcome = pl.col("repeat_kind"), pl.col("outcome")
    is_judged, is_reliable = outcome.is_in(JUDGED), outcome == Outcome.RELIABLE
    counts = {
        "n_same_session": _n(kind == RepeatKind.SAME_SESSION),
        "n_recalls": _n(kind == RepeatKind.RECALL),
        "n_confirmations": _n(kind == RepeatKind.CONFIRMATION),
        "n_deferred": _n(kind == RepeatKind.DEFERRED),
        "n_follow_ups": _n(kind == RepeatKind.FOLLOW_UP),
        "n_kind_inferred": _n(pl.col("is_repeat_inferred")),
        "n_window_over": _n(pl.col("is_repeated").is_not_null()),
        "n_never_repeated": _n(~pl.col("is_repeated")),
    }
    for name, place in (("first_pass", "first"), ("final", "final")):
        is_here = pl.col(f"is_session_{place}")
        counts[f"n_{name}_judged"] = _n(is_here & is_judged)
        counts[f"n_{name}_reliable"] = _n(is_here & is_reliable)
    return counts


def _preparation_counts() -> dict[str, pl.Expr]:
    is_performed = pl.col("performed") == Performed.PERFORMED
    counts: dict[str, pl.Expr] = {}
    for step in ("fasting", "preparation"):
        counts |= {
            f"n_{step}_recorded": _n(is_performed & pl.col(step).is_in(RECORDED)),
            f"n_{step}_kept": _n(is_performed & (pl.col(step) == Kept.KEPT)),
            f"n_{step}_breach": _n(is_performed & (pl.col(step) == Kept.BREACH)),
        }
    return counts


def _grade_and_spread_counts() -> dict[str, pl.Expr]:
    is_performed = pl.col("performed") == Performed.PERFORMED
    has_ratio = pl.col("outcome").is_in(JUDGED) & (pl.col("ratio_share") > 0)
    log_ratio = pl.when(has_ratio).then(pl.col("ratio_share")).log()
    return {
        "n_large_patient_probe": _n(is_performed & (pl.col("probe") == Probe.LARGE_PATIENT)),
        "n_stiffness_graded": _n(pl.col("stiffness_band").is_not_null()),
        "n_stiffness_raised": _n(pl.col("stiffness_band") > 0),
        "n_attenuation_graded": _n(pl.col("attenuation_band").is_not_null()),
        "n_attenuation_raised": _n(pl.col("attenuation_band") > 0),
        "n_with_ratio": _n(has_ratio),
        "sum_ln_ratio_micro": (log_ratio * MICRO).round().cast(pl.Int64).sum(),
        "sumsq_ln_ratio_micro": (log_ratio.pow(2) * MICRO).round().cast(pl.Int64).sum(),
        "sum_valid": pl.when(_has_attempts()).then("n_valid").cast(pl.Int64).sum(),
        "sum_attempted": pl.when(_has_attempts()).then("n_attempted").cast(pl.Int64).sum(),
        "n_with_attempts": _n(_has_attempts()),
    } | _duration_counts()


def _duration_counts() -> dict[str, pl.Expr]:
    is_performed = pl.col("performed") == Performed.PERFORMED
    has_duration = is_performed & (pl.col("duration_s") > 0)
    log = pl.when(has_duration).then(pl.col("duration_s")).log()
    return {
        "n_with_duration": _n(has_duration),
        "sum_ln_duration_micro": (log * MICRO).round().cast(pl.Int64).sum(),
        "sumsq_ln_duration_micro": (log.pow(2) * MICRO).round().cast(pl.Int64).sum(),
    }


def _success_counts() -> dict[str, pl.Expr]:
    """Success rates by acquisition mode: those of different modes are never put together."""
    share = pl.col("success_share")
    counts = {}
    for name, mode in _MODES.items():
        is_here = share.is_not_null() & pl.col("acquisition_mode").eq_missing(pl.lit(mode))
        counts[f"n_{name}_with_success"] = _n(is_here)
        counts[f"n_{name}_low_success"] = _n(is_here & (share < LOW_SUCCESS_SHARE - TOLERANCE))
    return counts


def _has_attempts() -> pl.Expr:
    """Attempts were sent, and the device did not choose them.

    Unknown attempts are not the valid ones: some devices drop invalid measurements silently. And
    where a device takes a fixed group of measurements by itself, a success rate is another thing.
    """
    is_performed = pl.col("performed") == Performed.PERFORMED
    is_chosen = (pl.col("acquisition_mode") != AcquisitionMode.FIXED_GROUP).fill_null(value=True)
    return is_performed & pl.col("n_attempted").is_not_null() & is_chosen
