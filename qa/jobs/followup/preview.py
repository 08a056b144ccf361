"""Judge the last months again by a proposed criteria set, without keeping anything."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

from qa.followup.preview import SitePreview, compare_outcomes
from qa.jobs.judging import Rules, find_rules, judge_months
from qa.model.definitions import CriteriaSet, InForce
from qa.model.errors import FollowupError
from qa.model.progress import Progress, show_nothing
from qa.stores.definitions import load_definitions
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import open_warehouse

MONTHS = 12
RELIABLE = "reliable"


@dataclass(frozen=True)
class PreviewReport:
    """What a criteria set would do. rows: the network first, then sites by id."""

    criteria_id: str
    months: tuple[date, ...]
    n_exams: int
    rows: tuple[SitePreview, ...]


def preview_criteria(
    folder: Path,
    proposed: CriteriaSet,
    *,
    n_months: int = MONTHS,
    progress: Progress = show_nothing,
) -> PreviewReport:
    """Judge the newest months by the rules in force and by a proposed set, and compare.

    Uses the ordinary judging and counting; nothing is written.

    Args:
        proposed: judges every exam of the period, whatever its day.
        n_months: newest months with exams.
    Raises: NetworkFolderError, WarehouseError; FollowupError FUP-079 where there are no exams.
    """
    network, definitions = load_network(folder), load_definitions()
    rules = find_rules(network, definitions)
    new = Rules(
        ((InForce(proposed.id, date.min), proposed),), rules.grade_tables, rules.settings, "preview"
    )
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        months = warehouse.months_with_exams()[-n_months:]
        if not months:
            raise FollowupError(
                "there are no exams to judge",
                expected="exams that were accepted",
                todo="Read export files first: elastoqa intake",
                code="FUP-079",
            )
        steps = {"progress": progress, "n_steps": 2 * len(months)}
        before = judge_months(warehouse, months, rules=rules, **steps)  # type: ignore[arg-type]
        after = judge_months(warehouse, months, rules=new, **steps)  # type: ignore[arg-type]
        exams = _site_of_exams(warehouse.current_exams(months=months))
    rows = compare_outcomes(
        exams,
        (before.assessments, before.counts),
        (after.assessments, after.counts),
        measure=definitions.measure_by_key(RELIABLE),
    )
    return PreviewReport(proposed.id, tuple(months), exams.height, tuple(rows))


def _site_of_exams(exams: pl.DataFrame) -> pl.DataFrame:
    return exams.select("exam_key", "site_id")


def months_text(months: Sequence[date]) -> str:
    """Example: '2025-11 to 2026-10'"""
    return f"{months[0]:%Y-%m} to {months[-1]:%Y-%m}"
