"""How well operators agree: pairs found in routine data, or a study with repeated readings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from qa.model.words import Outcome
from qa.stats.agreement import (
    Agreement,
    limits_of_agreement,
    repeatability_coefficient,
    within_subject_cv,
    within_subject_sd,
)
from qa.stats.gauge import Gauge, gauge_by_anova
from qa.stats.icc import MODELS, Icc, intraclass_correlations
from qa.stats.kappa import Kappa, agreement_weights, weighted_kappa

Floats = NDArray[np.float64]
SPLIT_KPA = 9.0
"""Below it agreement is another matter (Boursier 2008: ICC 0.49 below 9 kPa, 0.87 from there)."""
MIN_PAIRS = 5
PAIR_MODELS = ("ICC(1,1)", "ICC(2,1)")
MODEL_WORDS = "; ".join(f"{name}: {MODELS[name]}" for name in PAIR_MODELS)
"""What is assumed by the coefficients that pairs are told with."""
PAIR_COLUMNS = ("exam_on", "site_id", "technique", "first_operator", "second_operator")


@dataclass(frozen=True)
class AgreementPart:
    """Agreement of pairs in one range of stiffness.

    Args:
        name: "all", "below 9 kPa", "9 kPa and above".
        cv: within-subject coefficient of variation, a share.
        repeatability: what two readings of one person differ by at most in 95 of 100 pairs.
        icc: by model; empty with fewer than MIN_PAIRS pairs, where nothing is worked out.
    """

    name: str
    n: int
    differences: Agreement | None = None
    sd: float = float("nan")
    cv: float = float("nan")
    repeatability: float = float("nan")
    icc: tuple[Icc, ...] = ()


def find_pairs(exams: pl.DataFrame) -> pl.DataFrame:
    """Exams of one patient on one day, by one technique and probe, by two operators.

    Args:    exams: rows of the published frame `exams`.
    Returns: PAIR_COLUMNS, first_kpa, second_kpa, first_band, second_band (null without a band, or
        where the grade tables differ); one row for each pair of neighbours in time, reliable and
        not at a limit of the device, sorted by day.
    Weak when: a second exam was made because the first was doubted: such pairs differ more.
    """
    chosen = exams.filter(
        (pl.col("outcome") == Outcome.RELIABLE.value)
        & pl.col("stiffness_kpa").is_not_null()
        & ~pl.col("is_stiffness_censored")
        & ~pl.col("is_date_nominal")
    ).sort("exam_at", "exam_key")
    keys = ["patient_key", "exam_on", "technique", "probe"]
    taken = {
        "second_operator": "operator_id",
        "second_kpa": "stiffness_kpa",
        "second_band": "stiffness_band",
        "_table": "stiffness_table_id",
    }
    paired = chosen.with_columns(
        pl.col(column).shift(-1).over(keys).alias(name) for name, column in taken.items()
    ).filter(
        pl.col("second_operator").is_not_null()
        & (pl.col("second_operator") != pl.col("operator_id"))
    )
    same = pl.col("_table").eq_missing(pl.col("stiffness_table_id"))
    return paired.select(
        "exam_on",
        "site_id",
        "technique",
        pl.col("operator_id").alias("first_operator"),
        "second_operator",
        pl.col("stiffness_kpa").alias("first_kpa"),
        "second_kpa",
        pl.when(same).then("stiffness_band").alias("first_band"),
        pl.when(same).then("second_band").alias("second_band"),
    ).sort("exam_on", "site_id", "first_operator")


def agreement_parts(
    first: ArrayLike, second: ArrayLike, *, split: float = SPLIT_KPA
) -> tuple[AgreementPart, ...]:
    """Agreement of pairs: all, below and from a limit on (by the mean of the pair).

    Args: first, second: readings of each pair, kPa, above 0.
    Method: limits of agreement with intervals; within-subject CV; ICC(1,1) as pairs have other
        operators, and ICC(2,1).
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    is_low = (a + b) / 2 < split
    ranges = (
        ("all", np.ones(len(a), dtype=bool)),
        (f"below {split:g} kPa", is_low),
        (f"{split:g} kPa and above", ~is_low),
    )
    return tuple(_part(name, a[inside], b[inside]) for name, inside in ranges)


def _part(name: str, a: Floats, b: Floats) -> AgreementPart:
    n = len(a)
    if n < MIN_PAIRS:
        return AgreementPart(name, n)
    who, values = np.tile(np.arange(n), 2), np.concatenate([a, b])
    sd = within_subject_sd(who, values)
    icc = intraclass_correlations(np.column_stack([a, b]))
    return AgreementPart(
        name=name,
        n=n,
        differences=limits_of_agreement(b - a),
        sd=sd,
        cv=within_subject_cv(who, values),
        repeatability=repeatability_coefficient(sd),
        icc=tuple(icc[name] for name in PAIR_MODELS),
    )


def band_kappa(first: ArrayLike, second: ArrayLike) -> tuple[Kappa, int] | None:
    """Weighted kappa (quadratic) of bands, and how many pairs; None with fewer than MIN_PAIRS."""
    a, b = np.asarray(first, dtype=np.int64), np.asarray(second, dtype=np.int64)
    if len(a) < MIN_PAIRS:
        return None
    size = int(max(a.max(), b.max())) + 1
    table = np.zeros((size, size))
    np.add.at(table, (a, b), 1)
    return weighted_kappa(table, weights=agreement_weights(size)), len(a)


@dataclass(frozen=True)
class StudyPart:
    """A crossed study in one range of stiffness; gauge None: too few subjects, or gaps."""

    name: str
    n_subjects: int
    gauge: Gauge | None
    mean: float


def crossed_table(
    subjects: Sequence[str], operators: Sequence[str], values: Sequence[float]
) -> tuple[tuple[tuple[float, ...], ...], ...]:
    """Values by subject, operator (both in the order of their names) and trial.

    Raises: ValueError with words where the study is not crossed or trials differ in number.
    """
    who, by = sorted(set(subjects)), sorted(set(operators))
    cells: dict[tuple[str, str], list[float]] = {}
    for subject, operator, value in zip(subjects, operators, values, strict=True):
        cells.setdefault((subject, operator), []).append(value)
    sizes = {len(one) for one in cells.values()}
    if len(cells) != len(who) * len(by) or len(sizes) != 1 or min(len(who), len(by), *sizes) < 2:
        raise ValueError("every operator must read every subject equally often, at least twice")
    return tuple(tuple(tuple(cells[subject, one]) for one in by) for subject in who)


def study_parts(
    subjects: Sequence[str],
    operators: Sequence[str],
    values: Sequence[float],
    *,
    split: float = SPLIT_KPA,
) -> tuple[StudyPart, ...]:
    """Repeatability and reproducibility of a study; see crossed_table and table_parts."""
    return table_parts(crossed_table(subjects, operators, values), split=split)


def table_parts(
    cells: Sequence[Sequence[Sequence[float]]], *, split: float = SPLIT_KPA
) -> tuple[StudyPart, ...]:
    """Repeatability and reproducibility of a study: every operator reads every subject n times.

    Args: cells: kPa, by subject, operator and trial.
    Returns: all subjects, and those below and from the limit on by their mean.
    """
    table = np.array(cells, dtype=np.float64)
    means = table.mean(axis=(1, 2))
    ranges = (
        ("all", np.ones(len(means), dtype=bool)),
        (f"below {split:g} kPa", means < split),
        (f"{split:g} kPa and above", means >= split),
    )
    return tuple(
        StudyPart(
            name,
            int(inside.sum()),
            gauge_by_anova(table[inside]) if inside.sum() >= MIN_PAIRS else None,
            float(means[inside].mean()) if inside.any() else float("nan"),
        )
        for name, inside in ranges
    )
