"""Assess what came in, count the months touched, draw the charts, publish a snapshot."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import polars as pl

from qa.charts.budget import MonthList, count_list
from qa.jobs.adjusting import find_expected
from qa.jobs.charting import Counted, chart_counts
from qa.jobs.followup.documents import refuse_unapproved
from qa.jobs.followup.equipment_events import equipment_events
from qa.jobs.followup.practice_months import find_practice
from qa.jobs.judging import Judged, Rules, find_rules, judge_months, months_to_count
from qa.model.definitions import Network
from qa.model.progress import Progress, show_nothing
from qa.model.published import Definitions
from qa.model.words import Phase
from qa.stores.definitions import parse_definition_texts, read_definition_texts
from qa.stores.publishing import publish_snapshot, remove_unfinished
from qa.stores.settings import NetworkFolder, load_network, read_network_text
from qa.stores.warehouse import Warehouse, open_warehouse

CHARTING, PUBLISHING = "Drawing charts", "Publishing"


@dataclass(frozen=True)
class RefreshReport:
    """What a refresh did.

    Args:
        months: those that were counted (again).
        newest: the newest month's list; None while nothing is monitored.
    """

    months: tuple[date, ...]
    n_exams: int
    n_new_baselines: int
    newest: MonthList | None
    snapshot_id: str
    is_new_snapshot: bool


def run_refresh(
    folder: Path,
    *,
    at: datetime,
    by: str,
    software_version: str,
    as_known_at: datetime | None = None,
    environ: Mapping[str, str] | None = None,
    progress: Progress = show_nothing,
) -> RefreshReport:
    """Judge and count the months touched since the last refresh, then publish.

    Args:
        folder: a network folder.
        at: now, UTC; stands in the snapshot and beside new baselines.
        by: who asked; stands beside new baselines.
        as_known_at: judge and count every month as the warehouse knew it then, into a snapshot
            that does not become the current one; the warehouse is left as it is. What judges is
            today's network.toml and today's definitions.
        environ: may say where approvals are kept; None: in the folder.
    Raises: NetworkFolderError, DefinitionError, WarehouseError; FollowupError FUP-075 when the
        network asks for approval and a criteria set in force has none.
    """
    root = NetworkFolder(folder)
    network, texts = load_network(folder), read_definition_texts()
    refuse_unapproved(folder, network, parse_definition_texts(texts), environ=environ or {})
    remove_unfinished(root.snapshots)
    with open_warehouse(root.warehouse, as_known_at=as_known_at) as warehouse:
        done = find_frames(
            warehouse,
            folder,
            texts=texts,
            at=as_known_at or at,
            by=by,
            environ=environ,
            progress=progress,
        )
        n_steps = len(done.judged.months) + 2
        progress(n_steps - 1, n_steps, PUBLISHING)
        snapshot_id, is_new = publish_snapshot(
            root.snapshots,
            frames=done.frames,
            network_text=read_network_text(folder),
            definition_texts=texts,
            published_at=as_known_at or at,
            software_version=software_version,
            is_current=as_known_at is None,
        )
    progress(n_steps, n_steps, PUBLISHING)
    return RefreshReport(
        months=done.judged.months,
        n_exams=done.judged.assessments.height,
        n_new_baselines=done.n_new_baselines,
        newest=done.newest,
        snapshot_id=snapshot_id,
        is_new_snapshot=is_new,
    )


@dataclass(frozen=True)
class Refreshed:
    """The frames of a snapshot and what was judged for them."""

    judged: Judged
    frames: dict[str, pl.DataFrame]
    n_new_baselines: int
    newest: MonthList | None


def find_frames(
    warehouse: Warehouse,
    folder: Path,
    *,
    texts: dict[str, dict[str, str]],
    at: datetime,
    by: str,
    network: Network | None = None,
    environ: Mapping[str, str] | None = None,
    progress: Progress = show_nothing,
) -> Refreshed:
    """Judge what has to be judged and draw all charts.

    A warehouse opened as it was known at a moment is judged whole and nothing is written to it;
    else only touched months are, and what was found is written.

    Args: network: None: today's network.toml.
    """
    network, definitions = network or load_network(folder), parse_definition_texts(texts)
    rules = find_rules(network, definitions)
    events = equipment_events(folder, network, environ=environ or {}, until=at)
    is_past = warehouse.as_known_at is not None
    months = warehouse.months_with_exams() if is_past else months_to_count(warehouse, rules)
    n_steps = len(months) + 2
    judged = judge_months(warehouse, months, rules=rules, progress=progress, n_steps=n_steps)
    if is_past:
        counted = Counted(judged.assessments, judged.counts, judged.grade_counts)
        case_mix = judged.case_mix
    else:
        _keep(warehouse, judged, rules, at=at)
        counted = Counted(
            warehouse.assessments(), warehouse.monthly_counts(), warehouse.grade_counts()
        )
        case_mix = warehouse.case_mix_counts()
    progress(len(months), n_steps, CHARTING)
    fair = find_expected(
        warehouse, counted.assessments, case_mix, network, definitions, at=at, by=by
    )
    frames, baselines = chart_counts(
        warehouse, counted, network, definitions, fair=fair, events=events, at=at, by=by
    )
    frames["practice_months"] = find_practice(
        folder, network, counted.counts, frames["exams"], environ=environ or {}, until=at
    )
    if baselines.height and not is_past:
        warehouse.append_baselines(baselines)
    return Refreshed(judged, frames, baselines.height, _newest_list(frames, network, definitions))


def _newest_list(
    frames: dict[str, pl.DataFrame], network: Network, definitions: Definitions
) -> MonthList | None:
    points = frames["chart_points"]
    month = points.filter(pl.col("phase") == Phase.MONITORING)["month"].max()
    if not isinstance(month, date):
        return None
    return count_list(
        points,
        frames["signals"],
        month=month,
        measures=list(definitions.measures.values()),
        settings=network.settings,
    )


def _keep(warehouse: Warehouse, judged: Judged, rules: Rules, *, at: datetime) -> None:
    if not judged.months:
        return
    warehouse.append_refresh(
        refresh_id=f"R{at:%Y%m%dT%H%M%S%fZ}",
        refreshed_at=at,
        rules_fingerprint=rules.fingerprint,
        months=judged.months,
        assessments=judged.assessments,
        counts=judged.counts,
        grade_counts=judged.grade_counts,
        case_mix=judged.case_mix,
        horizon_on=judged.horizon_on,
    )
