"""Counts → charts, funnels, signals and all other frames of a snapshot: the second half."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from qa.case_mix.attach import add_expected, baseline_mix
from qa.charts.baseline import freeze_baselines
from qa.charts.compare import funnel_points
from qa.charts.control import chart_points
from qa.charts.equipment import equipment_changes
from qa.charts.published_rules import PUBLISHED_RULE_KEYS
from qa.charts.targets import add_targets, unknown_targets
from qa.counts import count_rows
from qa.drift.integrity import find_integrity
from qa.intake.calendar import intake_months
from qa.jobs.adjusting import Fair
from qa.measures import leave_out_untold, measure_values
from qa.model.definitions import Measure, Network
from qa.model.errors import NetworkFolderError
from qa.model.published import Definitions
from qa.model.schemas import FUNNEL_POINTS, MEASURE_VALUES
from qa.model.words import UnitKind
from qa.signals import find_signals
from qa.stores.quarantine import rows_read
from qa.stores.snapshots import JUDGED_EXAMS
from qa.stores.warehouse import Warehouse
from qa.stores.warehouse_history import daily_arrivals, month_closes, restatements
from qa.views.names import unit_names


@dataclass(frozen=True)
class Counted:
    """ASSESSMENTS, MONTHLY_COUNTS and GRADE_COUNTS of every month."""

    assessments: pl.DataFrame
    counts: pl.DataFrame
    grade_counts: pl.DataFrame


def chart_counts(
    warehouse: Warehouse,
    counted: Counted,
    network: Network,
    definitions: Definitions,
    *,
    fair: Fair,
    events: pl.DataFrame,
    at: datetime,
    by: str,
) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:
    """All frames of a snapshot, and the BASELINES that were frozen on the way."""
    measures = list(definitions.measures.values())
    _check_choices(network, measures)
    row_counts = count_rows(rows_read(warehouse), criteria=network.criteria)
    values = pl.concat(
        [
            add_expected(
                _values_of_all_units(counted.counts, measures, network),
                expected=fair.expected,
                models=fair.models,
            ),
            _values_of_rows(row_counts, measures),
        ]
    ).sort(MEASURE_VALUES.key)
    existing, changes = warehouse.baselines(), equipment_changes(network, events)
    told = leave_out_untold(
        values, measures=measures, window_days=network.settings.repeat_window_days
    )
    new = freeze_baselines(
        told,
        existing=existing,
        measures=measures,
        settings=network.settings,
        set_at=at,
        set_by=by,
        changes=changes,
    )
    baselines = pl.concat([existing, new])
    points = chart_points(
        values,
        baselines=baselines,
        measures=measures,
        settings=network.settings,
        changes=changes,
        mix=baseline_mix(baselines, expected=fair.expected),
    )
    points = add_targets(points, targets=network.targets, measures=measures)
    funnel = _funnels_of_all_months(values, measures, network)
    signals = find_signals(
        points,
        funnel,
        measures=measures,
        names=unit_names(network),
        operator_sites={person.id: person.site for person in network.operators},
        settings=network.settings,
        counts=counted.counts,
        expected=fair.expected,
    )
    exams = _judged_exams(warehouse, counted)
    frames = {
        "monthly_counts": counted.counts,
        "row_counts": row_counts,
        "grade_counts": counted.grade_counts,
        "chart_points": points,
        "funnel_points": funnel,
        "baselines": baselines,
        "signals": signals,
        "intake_months": find_intake_months(warehouse, network, at=at),
        "equipment_events": events,
        "files": warehouse.files(),
        "quarantined": warehouse.quarantined(),
        "exams": exams,
        "integrity": find_integrity(
            exams, criteria=definitions.criteria, homes=_home_sites(network)
        ),
        **fair.frames,
    }
    return frames, new


def _check_choices(network: Network, measures: Sequence[Measure]) -> None:
    """Raises: NetworkFolderError: a target or run rule of network.toml does not exist."""
    for kind, unknown, known in (
        ("measure", unknown_targets(network.targets, measures), [one.key for one in measures]),
        (
            "run rule",
            [one for one in network.settings.run_rules if one not in PUBLISHED_RULE_KEYS],
            list(PUBLISHED_RULE_KEYS),
        ),
    ):
        if unknown:
            raise NetworkFolderError(
                f"the {kind} '{unknown[0]}' does not exist",
                where="network.toml",
                expected=f"one of {', '.join(known)}",
                code="NET-004",
            )


def find_intake_months(warehouse: Warehouse, network: Network, *, at: datetime) -> pl.DataFrame:
    """INTAKE_MONTHS as the warehouse stands at a moment.

    An invented network stands still at its newest file, so that it is not late for ever.
    """
    newest_known = warehouse.files()["known_at"].max()
    if network.is_invented and isinstance(newest_known, datetime):
        at = min(at, newest_known)
    return intake_months(
        daily_arrivals(warehouse),
        closes=month_closes(warehouse),
        restated=restatements(warehouse),
        network=network,
        at=at,
    )


def _judged_exams(warehouse: Warehouse, counted: Counted) -> pl.DataFrame:
    exams = warehouse.current_exams()
    return JUDGED_EXAMS.conform(
        exams.join(counted.assessments, on=["exam_key", "version_no"], how="inner")
    )


def _values_of_all_units(
    counts: pl.DataFrame, measures: Sequence[Measure], network: Network
) -> pl.DataFrame:
    homes: dict[str, dict[str, str]] = {UnitKind.NETWORK: {}, **_home_sites(network)}
    return pl.concat(
        measure_values(counts, measures=measures, unit_kind=kind, home_sites=home)
        for kind, home in homes.items()
    )


def _home_sites(network: Network) -> dict[str, dict[str, str]]:
    return {
        UnitKind.SITE: {site.id: site.id for site in network.sites},
        UnitKind.OPERATOR: {person.id: person.site for person in network.operators},
        UnitKind.DEVICE: {device.id: device.site for device in network.devices},
    }


def _values_of_rows(row_counts: pl.DataFrame, measures: Sequence[Measure]) -> pl.DataFrame:
    """Rows that were held back cannot be laid at an operator's or a device's door."""
    return pl.concat(
        measure_values(row_counts, measures=measures, unit_kind=kind, home_sites={})
        for kind in (UnitKind.NETWORK, UnitKind.SITE)
    )


def _funnels_of_all_months(
    values: pl.DataFrame, measures: Sequence[Measure], network: Network
) -> pl.DataFrame:
    months = values["month"].unique().sort().to_list()
    parts = [
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
    return pl.concat([FUNNEL_POINTS.empty(), *parts])
