"""Agreement studies: repeatability, reproducibility and gauge R&R, by range of stiffness."""

from collections.abc import Sequence
from dataclasses import dataclass

from qa.drift.agreement_study import StudyPart, table_parts
from qa.followup.studies import Study
from qa.views import words
from qa.views.sheets import Cell, Sheet

HEADINGS = (
    "Stiffness",
    "Subjects",
    "Repeatability sd (same operator)",
    "Between operators sd",
    "Reproducibility sd",
    "Gauge R&R of the whole scatter",
    "Distinct categories",
)
NOTE = (
    "Crossed study by analysis of variance (AIAG, Measurement Systems Analysis, 2010, chapter "
    "III): repeatability is the scatter of one operator, reproducibility that of any operator. "
    "Gauge R&R as a share of standard deviations; it is small where livers differ much, so go by "
    "the standard deviations."
)


@dataclass(frozen=True)
class StudyView:
    """One study. rows: by range, as HEADINGS; parts: the same as numbers."""

    study_id: str
    finding: str
    size: str
    rows: tuple[tuple[str, ...], ...]
    parts: tuple[StudyPart, ...]


def study_views(studies: Sequence[Study]) -> tuple[StudyView, ...]:
    """Studies that were not taken back, the newest first."""
    kept = sorted(
        (one for one in studies if not one.taken_back),
        key=lambda one: (one.day, one.study_id),
        reverse=True,
    )
    return tuple(_view(one) for one in kept)


def _view(one: Study) -> StudyView:
    parts = table_parts(one.table)
    subjects, operators, trials = one.sizes
    whole = parts[0].gauge
    finding = f"{one.title}: too few subjects to say how operators agree"
    if whole is not None:
        finding = (
            f"{one.title}: one operator again differs by {whole.ev:.2g} kPa (sd), another operator "
            f"by {whole.grr:.2g} kPa"
        )
    return StudyView(
        study_id=one.study_id,
        finding=finding,
        size=f"{one.day}: {words.counted(subjects, 'subject')}, "
        f"{words.counted(operators, 'operator')}, {words.counted(trials, 'trial')} each.",
        rows=tuple(_row(part) for part in parts),
        parts=parts,
    )


def _row(part: StudyPart) -> tuple[str, ...]:
    if part.gauge is None:
        return part.name, str(part.n_subjects), "too few", "–", "–", "–", "–"
    found = part.gauge
    return (
        part.name,
        str(part.n_subjects),
        f"{found.ev:.2f} kPa ({found.ev / part.mean:.1%})",
        f"{found.av:.2f} kPa",
        f"{found.grr:.2f} kPa ({found.grr / part.mean:.1%})",
        f"{found.grr_share:.0%}",
        f"{found.distinct_categories:.1f}",
    )


def studies_sheet(views: Sequence[StudyView]) -> Sheet:
    """One row for each study and range of stiffness; standard deviations in kPa."""
    headings = (
        *("study", "range", "n_subjects", "mean_kpa", "repeatability_sd_kpa"),
        *("between_operators_sd_kpa", "reproducibility_sd_kpa", "between_subjects_sd_kpa"),
        *("gauge_rr_share", "distinct_categories"),
    )
    rows = ((view.study_id, *_cells(part)) for view in views for part in view.parts)
    return Sheet(headings, tuple(rows))


def _cells(part: StudyPart) -> tuple[Cell, ...]:
    if part.gauge is None:
        return (part.name, part.n_subjects, *[None] * 7)
    found = part.gauge
    return (
        *(part.name, part.n_subjects, part.mean, found.ev, found.av, found.grr, found.pv),
        *(found.grr_share, found.distinct_categories),
    )
