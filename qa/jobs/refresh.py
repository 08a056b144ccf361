"""Assess what came in, count the months touched, draw the charts, publish a snapshot."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl

from qa.assess import assess_exams
from qa.charts.baseline import freeze_baselines
from qa.charts.compare import funnel_points
from qa.charts.control import chart_points
from qa.counts import count_grades, count_months
from qa.measures import measure_values
from qa.model.definitions import CriteriaSet, GradeTable, InForce, Measure, Network
from qa.model.errors import NetworkFolderError
from qa.model.months import add_months, iterate_months
from qa.model.progress import Progress, show_nothing
from qa.model.published import Definitions
from qa.model.words import UnitKind
from qa.signals import find_signals
from qa.stores.definitions import parse_definition_texts, read_definition_texts
from qa.stores.settings import NetworkFolder, load_network, read_network_text
from qa.stores.snapshots import JUDGED_EXAMS, publish_snapshot, remove_unfinished
from qa.stores.warehouse import Warehouse, open_warehouse
from qa.views.names import unit_names

STEPS = ("Judging and counting exams", "Drawing charts", "Publishing")
MONTHS_AT_ONCE = 12


@dataclass(frozen=True)
class Rules:
    """What judges: the sets and tables in force, in the order of their first day."""

    criteria: tuple[tuple[InForce, CriteriaSet], ...]
    grade_tables: tuple[tuple[InForce, GradeTable], ...]
    fingerprint: str


@dataclass(frozen=True)
class RefreshReport:
    """What a refresh did."""

    months: tuple[date, ...]
    n_exams: int
    n_new_baselines: int
    n_signals: int
    snapshot_id: str
    is_new_snapshot: bool


def run_refresh(
    folder: Path,
    *,
    at: datetime,
    by: str,
    software_version: str,
    progress: Progress = show_nothing,
) -> RefreshReport:
    """Judge and count the months touched since the last refresh, then publish.

    Args:
        folder: a network folder.
        at: now, UTC; stands in the snapshot and beside new baselines.
        by: who asked; stands beside new baselines.
    Raises: NetworkFolderError, DefinitionError, WarehouseError.
    """
    root = NetworkFolder(folder)
    network = load_network(folder)
    texts = read_definition_texts()
    definitions = parse_definition_texts(texts)
    rules = find_rules(network, definitions)
    remove_unfinished(root.snapshots)
    with open_warehouse(root.warehouse) as warehouse:
        months = _months_to_count(warehouse, network, rules)
        n_exams = _assess_and_count(warehouse, network, rules, months, at, progress)
        progress(len(months), len(months) + 2, STEPS[1])
        frames, n_new = _chart(warehouse, network, definitions, at=at, by=by)
        progress(len(months) + 1, len(months) + 2, STEPS[2])
        snapshot_id, is_new = publish_snapshot(
            root.snapshots,
            frames=frames,
            network_text=read_network_text(folder),
            definition_texts=texts,
            published_at=at,
            software_version=software_version,
        )
    progress(len(months) + 2, len(months) + 2, STEPS[2])
    return RefreshReport(
        months=tuple(months),
        n_exams=n_exams,
        n_new_baselines=n_new,
        n_signals=frames["signals"].height,
        snapshot_id=snapshot_id,
        is_new_snapshot=is_new,
    )


def find_rules(network: Network, definitions: Definitions) -> Rules:
    """The network's criteria sets and grade tables with their definitions.

    Raises: NetworkFolderError when network.toml names one that does not exist.
    """

    def find(kind: str, in_force: InForce, known: dict) -> object:
        if in_force.id not in known:
            raise NetworkFolderError(
                f"the {kind} '{in_force.id}' does not exist",
                where="network.toml",
                expected=f"one of {', '.join(known)}",
                code="NET-004",
            )
        return known[in_force.id]

    criteria = tuple(
        (one, find("criteria set", one, definitions.criteria))
        for one in sorted(network.criteria, key=lambda one: one.from_day)
    )
    tables = tuple(
        (one, find("grade table", one, definitions.grade_tables))
        for one in sorted(network.grade_tables, key=lambda one: one.from_day)
    )
    text = repr(
        [(one, thing.fingerprint) for one, thing in (*criteria, *tables)]  # type: ignore[attr-defined]
        + [network.settings.repeat_window_days]
    )
    fingerprint = hashlib.sha256(text.encode()).hexdigest()[:16]
    return Rules(criteria, tables, fingerprint)  # type: ignore[arg-type]


def _months_to_count(warehouse: Warehouse, network: Network, rules: Rules) -> list[date]:
    """Months with changed exams, and the later ones whose repeats look back at them."""
    with_exams = set(warehouse.months_with_exams())
    last = warehouse.last_refresh()
    if last is None or last[1] != rules.fingerprint:
        return sorted(with_exams)
    touched = warehouse.months_touched_since(last[0])
    reach = -(-network.settings.repeat_window_days // 28)
    wider = {
        later for month in touched for later in iterate_months(month, add_months(month, reach))
    }
    return sorted(set(touched) | (wider & with_exams))


def _assess_and_count(
    warehouse: Warehouse,
    network: Network,
    rules: Rules,
    months: Sequence[date],
    at: datetime,
    progress: Progress,
) -> int:
    if not months:
        return 0
    assessed, n_exams = [], 0
    counts, grades = [], []
    for start in range(0, len(months), MONTHS_AT_ONCE):
        chunk = months[start : start + MONTHS_AT_ONCE]
        progress(start, len(months) + 2, STEPS[0])
        exams = warehouse.current_exams(months=chunk)
        assessments = assess_exams(
            exams,
            criteria=rules.criteria,
            grade_tables=rules.grade_tables,
            repeat_window_days=network.settings.repeat_window_days,
            before=_exams_before(warehouse, exams, chunk, network.settings.repeat_window_days),
        )
        n_exams += exams.height
        assessed.append(assessments)
        counts.append(count_months(exams, assessments))
        grades.append(count_grades(exams, assessments))
    warehouse.append_refresh(
        refresh_id=f"R{at:%Y%m%dT%H%M%S%fZ}",
        refreshed_at=at,
        rules_fingerprint=rules.fingerprint,
        months=months,
        assessments=pl.concat(assessed),
        counts=pl.concat(counts),
        grade_counts=pl.concat(grades),
    )
    return n_exams


def _exams_before(
    warehouse: Warehouse, exams: pl.DataFrame, chunk: Sequence[date], window_days: int
) -> pl.DataFrame:
    """Exams that a repeat in the chunk may look back at and that the chunk does not hold."""
    earlier = warehouse.current_exams(
        from_day=chunk[0] - timedelta(days=window_days), to_day=add_months(chunk[-1], 1)
    )
    return earlier.join(exams.select("exam_key"), on="exam_key", how="anti")


def _chart(
    warehouse: Warehouse, network: Network, definitions: Definitions, *, at: datetime, by: str
) -> tuple[dict[str, pl.DataFrame], int]:
    """All frames of a snapshot, and how many baselines were frozen on the way."""
    measures = list(definitions.measures.values())
    counts = warehouse.monthly_counts()
    values = _values_of_all_units(counts, measures, network)
    existing = warehouse.baselines()
    new = freeze_baselines(
        values,
        existing=existing,
        measures=measures,
        settings=network.settings,
        set_at=at,
        set_by=by,
    )
    if new.height:
        warehouse.append_baselines(new)
    baselines = pl.concat([existing, new])
    points = chart_points(values, baselines=baselines, measures=measures, settings=network.settings)
    funnel = _funnels_of_all_months(values, measures, network)
    signals = find_signals(
        points,
        funnel,
        measures=measures,
        names=unit_names(network),
        operator_sites={person.id: person.site for person in network.operators},
    )
    exams = warehouse.current_exams()
    judged = exams.join(warehouse.assessments(), on=["exam_key", "version_no"], how="inner")
    frames = {
        "monthly_counts": counts,
        "grade_counts": warehouse.grade_counts(),
        "chart_points": points,
        "funnel_points": funnel,
        "baselines": baselines,
        "signals": signals,
        "files": warehouse.files(),
        "quarantined": warehouse.quarantined(),
        "exams": JUDGED_EXAMS.conform(judged),
    }
    return frames, new.height


def _values_of_all_units(
    counts: pl.DataFrame, measures: Sequence[Measure], network: Network
) -> pl.DataFrame:
    homes: dict[str, dict[str, str]] = {
        UnitKind.NETWORK: {},
        UnitKind.SITE: {site.id: site.id for site in network.sites},
        UnitKind.OPERATOR: {person.id: person.site for person in network.operators},
        UnitKind.DEVICE: {device.id: device.site for device in network.devices},
    }
    return pl.concat(
        measure_values(counts, measures=measures, unit_kind=kind, home_sites=home)
        for kind, home in homes.items()
    )


def _funnels_of_all_months(
    values: pl.DataFrame, measures: Sequence[Measure], network: Network
) -> pl.DataFrame:
    months = values["month"].unique().sort().to_list()
    return pl.concat(
        [
            funnel_points(
                values,
                measures=measures,
                unit_kind=kind,
                to_month=month,
                months=network.settings.funnel_months,
            )
            for month in months
            for kind in (UnitKind.SITE, UnitKind.OPERATOR)
        ]
    )
