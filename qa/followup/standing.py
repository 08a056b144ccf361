"""Where an operator stands: stage, practice within the year, refresher; from file and counts.

Stages (settings of network.toml; sources disagree, from one session to 500 exams):
    supervised   until 3 observed exams are signed off (NHANES quality assurance section)
    provisional  until 100 exams (Perazzo 2015; EASL-ALEH 2015, from memory)
    independent  from then on (our word)
    experienced  from 500 exams (Castera 2010: below, three times as many unreliable results)
Current: 50 exams or more within 12 months (a proposal of this tool, no source).
Refresher: yearly, by a reference examiner (NHANES quality assurance section).
"""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.followup.competence import OperatorFile
from qa.model.competence_words import Stage
from qa.model.definitions import Settings
from qa.model.months import add_months

YEAR = 12


@dataclass(frozen=True)
class Practice:
    """Exams of one operator. last: month of the newest; None: none known."""

    n_all: int = 0
    n_year: int = 0
    last: date | None = None


@dataclass(frozen=True)
class Standing:
    """Where an operator stands on a day.

    Args:
        n_exams: performed, in the published counts and stated from before.
        refresher_due_on: None where nobody was ever taught.
        lacks: what the file lacks, in words; empty where it is whole.
    """

    operator_id: str
    stage: Stage
    n_exams: int
    n_year: int
    is_current: bool
    n_observed: int
    refresher_due_on: date | None
    authorised: tuple[str, ...]
    lacks: tuple[str, ...]


def operator_practice(counts: pl.DataFrame, *, month: date) -> dict[str, Practice]:
    """Performed exams of each operator up to a month, and in the 12 months that end with it.

    Args:     counts: MONTHLY_COUNTS of all months; later ones are left out.
    Returns:  by operator; only those with exams.
    Example:  40 exams in November 2025 and 3 in October 2026, month October 2026 → all 43, year 43.
    """
    since = add_months(month, 1 - YEAR)
    found = (
        counts.filter((pl.col("month") <= month) & (pl.col("n_performed") > 0))
        .group_by("operator_id")
        .agg(
            pl.col("n_performed").sum().alias("n_all"),
            pl.col("n_performed").filter(pl.col("month") >= since).sum().alias("n_year"),
            pl.col("month").max().alias("last"),
        )
    )
    return {
        row["operator_id"]: Practice(row["n_all"], row["n_year"], row["last"])
        for row in found.iter_rows(named=True)
    }


def operator_standing(
    operator_id: str, file: OperatorFile | None, practice: Practice, *, settings: Settings, on: date
) -> Standing:
    """Where one operator stands. file None: nobody has begun it."""
    file = file or OperatorFile(operator_id, None)
    n_exams = practice.n_all + file.n_earlier
    due_on = _refresher_due(file, settings)
    is_current = practice.n_year >= settings.current_exams_a_year
    lacks = (
        _if(file.n_events == 0, "no file was begun"),
        _if(
            file.n_events > 0 and file.n_satisfactory < settings.observed_exams_needed,
            f"{file.n_satisfactory} of {settings.observed_exams_needed} observed exams signed off",
        ),
        _if(file.n_events > 0 and not file.in_force(on), "no authorisation in force"),
        _if(due_on is not None and due_on < on, f"refresher was due on {due_on}"),
        _if(
            not is_current,
            f"{practice.n_year} exams in 12 months, fewer than {settings.current_exams_a_year}",
        ),
    )
    return Standing(
        operator_id=operator_id,
        stage=stage_of(n_exams, file.n_satisfactory, settings=settings),
        n_exams=n_exams,
        n_year=practice.n_year,
        is_current=is_current,
        n_observed=file.n_satisfactory,
        refresher_due_on=due_on,
        authorised=tuple(one.words for one in file.in_force(on)),
        lacks=tuple(one for one in lacks if one),
    )


def _if(is_so: bool, words: str) -> str:
    return words if is_so else ""


def _refresher_due(file: OperatorFile, settings: Settings) -> date | None:
    taught = file.last_taught
    if taught is None:
        return None
    month = add_months(taught.replace(day=1), settings.refresher_months)
    last = add_months(month, 1).toordinal() - month.toordinal()
    return month.replace(day=min(taught.day, last))


def stage_of(n_exams: int, n_observed: int, *, settings: Settings) -> Stage:
    """Example: 2 observed → supervised; 3 observed, 99 exams → provisional, 100 → independent."""
    if n_observed < settings.observed_exams_needed:
        return Stage.SUPERVISED
    if n_exams < settings.provisional_until_exams:
        return Stage.PROVISIONAL
    return Stage.EXPERIENCED if n_exams >= settings.experienced_from_exams else Stage.INDEPENDENT
