"""How two operators agree on one patient: picture, table and words, from paired exams."""

from dataclasses import dataclass
from typing import Any

import polars as pl

from qa.drift.agreement_study import (
    MODEL_WORDS,
    SPLIT_KPA,
    AgreementPart,
    agreement_parts,
    band_kappa,
    find_pairs,
)
from qa.views import words
from qa.views.sheets import Sheet

FEW_PAIRS = 30
"""Under so many pairs limits of agreement are shown as rough (common practice, no source)."""
Row = tuple[str, ...]


@dataclass(frozen=True)
class PairPoint:
    """One pair: mean and second less first, kPa; what the reader may know of it."""

    exam_on: str
    site_id: str
    mean: float
    difference: float


@dataclass(frozen=True)
class PairLimits:
    """Limits of agreement of one range of stiffness, drawn from x0 to x1 (kPa)."""

    x0: float
    x1: float
    part: AgreementPart

    @property
    def found(self) -> Any:
        """Mean and limits with their intervals (qa/stats/agreement.py)."""
        return self.part.differences


@dataclass(frozen=True)
class AgreementView:
    """Paired exams: points and limits of a Bland-Altman plot, rows of its table.

    Args:
        finding: what it says, in a sentence.
        rows: by range, as HEADINGS. is_rough: too few pairs to hold the limits firm.
        parts: the same as numbers, all, below and from the split.
    """

    finding: str
    points: tuple[PairPoint, ...]
    limits: tuple[PairLimits, ...]
    rows: tuple[Row, ...]
    parts: tuple[AgreementPart, ...]
    kappa_text: str
    is_rough: bool


NOTE = (
    "Reliable exams of one patient on one day by the same technique and probe, by two operators, "
    f"in the twelve months shown. {MODEL_WORDS} (Shrout and Fleiss 1979). A high ICC comes easily "
    "from a wide range of livers: go by the CV and the limits."
)
HEADINGS = (
    "Stiffness",
    "Pairs",
    "Second less first, kPa",
    "Limits of agreement, kPa",
    "Within-subject CV",
    "Two readings differ by less than",
    "ICC(1,1)",
    "ICC(2,1)",
)


def agreement_view(exams: pl.DataFrame) -> AgreementView:
    """Args: exams: rows of the published frame `exams` that the reader may see."""
    pairs = find_pairs(exams)
    first, second = pairs["first_kpa"], pairs["second_kpa"]
    parts = agreement_parts(first, second)
    points = tuple(
        PairPoint(str(day), site, (a + b) / 2, b - a)
        for day, site, a, b in pairs.select(
            "exam_on", "site_id", "first_kpa", "second_kpa"
        ).iter_rows()
    )
    return AgreementView(
        finding=_finding(parts),
        points=points,
        limits=_limits(parts, points),
        rows=tuple(_row(part) for part in parts),
        parts=parts,
        kappa_text=kappa_text(pairs),
        is_rough=0 < len(points) < FEW_PAIRS,
    )


def _limits(
    parts: tuple[AgreementPart, ...], points: tuple[PairPoint, ...]
) -> tuple[PairLimits, ...]:
    """Of the ranges below and from the split on, each as wide as its points."""
    found = []
    for part, is_low in zip(parts[1:], (True, False), strict=True):
        own = [one.mean for one in points if (one.mean < SPLIT_KPA) is is_low]
        if part.differences is not None:
            found.append(PairLimits(min(own), max(own), part))
    return tuple(found)


def _finding(parts: tuple[AgreementPart, ...]) -> str:
    whole = parts[0]
    if whole.differences is None:
        return f"{words.counted(whole.n, 'pair').capitalize()}: too few to say how operators agree."
    told = [
        f"{part.repeatability:.1f} kPa ({part.name})"
        for part in parts[1:]
        if part.differences is not None
    ]
    how = words.listed(told) or f"{whole.repeatability:.1f} kPa"
    return (
        f"Two operators differ by less than {how} in 95 of 100 pairs "
        f"({whole.n} pairs, CV {whole.cv:.1%})."
    )


def _row(part: AgreementPart) -> Row:
    d = part.differences
    if d is None:
        return part.name, str(part.n), "too few pairs", "–", "–", "–", "–", "–"
    return (
        part.name,
        words.whole(part.n),
        f"{d.mean:+.2f} ({d.mean_interval[0]:+.2f} to {d.mean_interval[1]:+.2f})",
        f"{d.lower:+.2f} ({d.lower_interval[0]:+.2f} to {d.lower_interval[1]:+.2f}); "
        f"{d.upper:+.2f} ({d.upper_interval[0]:+.2f} to {d.upper_interval[1]:+.2f})",
        f"{part.cv:.1%}",
        f"{part.repeatability:.2f} kPa",
        *(f"{one.value:.2f} ({one.lower:.2f} to {one.upper:.2f})" for one in part.icc),
    )


def kappa_text(pairs: pl.DataFrame) -> str:
    """Weighted kappa of bands in a sentence. Args: pairs: as find_pairs gives them."""
    banded = pairs.drop_nulls(["first_band", "second_band"])
    found = band_kappa(banded["first_band"], banded["second_band"])
    if found is None:
        return "Too few pairs with bands for a kappa."
    low, high = found[0].interval()
    return (
        f"Bands of {words.counted(found[1], 'pair')} agree with weighted kappa "
        f"{found[0].value:.2f} (quadratic weights; 95 % interval {low:.2f} to {high:.2f})."
    )


def agreement_sheet(view: AgreementView) -> Sheet:
    """One row for each range of stiffness; kPa, shares 0 to 1; empty where there are too few."""
    ends = ("", "_from", "_to")
    headings = (
        *("range", "n_pairs", "mean_difference_kpa", "mean_lower_kpa", "mean_upper_kpa"),
        *(f"{limit}_limit{end}_kpa" for limit in ("lower", "upper") for end in ends),
        *("within_subject_cv_share", "repeatability_kpa"),
        *(f"{icc}{end}" for icc in ("icc_1_1", "icc_2_1") for end in ends),
    )
    return Sheet(headings, tuple(_sheet_row(one, len(headings)) for one in view.parts))


def _sheet_row(part: AgreementPart, width: int) -> tuple[str | int | float | None, ...]:
    d = part.differences
    if d is None:
        return (part.name, part.n, *[None] * (width - 2))
    return (
        *(part.name, part.n, d.mean, *d.mean_interval),
        *(d.lower, *d.lower_interval, d.upper, *d.upper_interval),
        *(part.cv, part.repeatability),
        *(figure for one in part.icc for figure in (one.value, one.lower, one.upper)),
    )
