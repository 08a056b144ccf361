"""Baselines as a person sees and sets them: list, set, propose. Each decision is a new fact."""

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import polars as pl

from qa.charts.baseline import FEWEST_MONTHS, decided_baselines, judging_baselines
from qa.charts.equipment import months_of_change
from qa.charts.propose import Proposal, propose_resets
from qa.model.definitions import Measure
from qa.model.errors import WrongUse
from qa.model.months import add_months, month_name, parse_month
from qa.model.words import UnitKind
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.snapshots import Snapshot, open_current
from qa.stores.warehouse import open_warehouse
from qa.views.baselines import (
    baseline_words,
    command_of,
    find_measure,
    parse_unit,
    proposal_words,
)
from qa.views.names import unit_name


@dataclass(frozen=True)
class ListedBaseline:
    """A baseline on record, its words; judges: some month is still drawn against it."""

    row: dict
    unit_name: str
    measure_title: str
    sentence: str
    judges: bool


@dataclass(frozen=True)
class SetBaseline:
    """A baseline that was set, and what weakens it, in words."""

    row: dict
    unit_name: str
    measure_title: str
    sentence: str
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class ProposedReset:
    """A chart that may need a new baseline: the evidence in words, and the command that sets it."""

    proposal: Proposal
    unit_name: str
    measure_title: str
    sentence: str
    command: str


def list_baselines(
    folder: Path,
    *,
    site: str | None = None,
    measure: str | None = None,
    as_known_at: datetime | None = None,
) -> list[ListedBaseline]:
    """Every baseline on record, by series and the order of decision.

    Args:
        site: only of this site and its operators and devices. measure: id or key.
        as_known_at: those decided by then.
    Raises: WrongUse for an unknown site or measure; NetworkFolderError, WarehouseError,
        SnapshotError.
    """
    network = load_network(folder)
    if site is not None and network.site(site) is None:
        _refuse(f"there is no site '{site}'", "an id of network.toml", "USE-040")
    snapshot = open_current(folder)
    try:
        wanted = find_measure(snapshot.definitions, measure) if measure else None
        titles = {one.id: one.title for one in snapshot.definitions.measures.values()}
    finally:
        snapshot.close()
    with open_warehouse(NetworkFolder(folder).warehouse, as_known_at=as_known_at) as warehouse:
        rows = warehouse.baselines()
    judging = set(judging_baselines(rows)["baseline_id"].to_list())
    if site is not None:
        rows = rows.filter(pl.col("site_id") == site)
    if wanted is not None:
        rows = rows.filter(pl.col("measure_id") == wanted.id)
    rows = rows.sort("unit_kind", "unit_id", "measure_id", "criteria_id", "set_at", "to_month")
    return [
        ListedBaseline(
            row,
            unit_name(network, row["unit_kind"], row["unit_id"]),
            titles.get(row["measure_id"], row["measure_id"]),
            baseline_words(row),
            row["baseline_id"] in judging,
        )
        for row in rows.iter_rows(named=True)
    ]


def set_baseline(
    folder: Path,
    *,
    unit: str,
    measure: str,
    from_month: str,
    to_month: str | None,
    by: str,
    reason: str,
    at: datetime,
) -> SetBaseline:
    """Set a baseline for one unit and measure from a month on, as a new fact.

    The figures are those published; refresh draws the charts anew. What was published stays as
    it was, and '--as-known-at' a time before the decision does not know it.

    Args:
        unit: "site:S1", "operator:31", "device:D1" or "network".
        to_month: last month of the period; None: a baseline's usual length, or as far as there
            are months that are over.
        by, reason: stand beside the decision; both are needed.
    Raises: WrongUse when something is missing, unknown, not over, empty, or when the months
        were judged by different criteria sets or measured on different devices.
    """
    if not by.strip() or not reason.strip():
        _refuse("who decides and why is missing", '--by NAME --reason "…" in words', "USE-041")
    network = load_network(folder)
    snapshot = open_current(folder)
    try:
        what = find_measure(snapshot.definitions, measure)
        kind, unit_id = parse_unit(network, unit)
        values = snapshot.frame("chart_points", unit_kind=kind, unit_id=unit_id, measure_id=what.id)
        newest = _newest_month(snapshot)
        events = snapshot.frame("equipment_events")
    finally:
        snapshot.close()
    first = parse_month(from_month)
    usual = add_months(first, network.settings.baseline_months - 1)
    last = parse_month(to_month) if to_month else min(usual, add_months(newest, -1))
    period = _check_period(values, first, last, newest=newest)
    changes = months_of_change(network, events, unit_kind=kind, unit_id=unit_id)
    _check_devices(what, changes, first, last)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        row = decided_baselines(
            period,
            existing=warehouse.baselines(),
            settings=network.settings,
            from_month=first,
            to_month=last,
            set_at=at,
            set_by=by.strip(),
            reason=reason.strip(),
        )
        warehouse.append_baselines(row)
    named = row.row(0, named=True)
    return SetBaseline(
        named,
        unit_name(network, kind, unit_id),
        what.title,
        baseline_words(named),
        _warnings(named, network.settings.baseline_min_exams),
    )


def find_proposals(folder: Path, *, site: str | None = None) -> list[ProposedReset]:
    """Series of watched measures that may need a new baseline, with unit and measure in words.

    Nothing is changed: a person decides, by 'elastoqa baseline set'.
    """
    network = load_network(folder)
    if site is not None and network.site(site) is None:
        _refuse(f"there is no site '{site}'", "an id of network.toml", "USE-040")
    snapshot = open_current(folder)
    try:
        measures = {one.id: one for one in snapshot.definitions.measures.values()}
        watched = [one.id for one in measures.values() if one.is_watched]
        points = snapshot.frame("chart_points", measure_id=watched)
        if site is not None:
            points = points.filter(pl.col("site_id") == site)
        found = propose_resets(
            points,
            baselines=snapshot.frame("baselines"),
            better={key: one.better for key, one in measures.items()},
        )
    finally:
        snapshot.close()
    return [
        ProposedReset(
            one,
            unit_name(network, one.unit_kind, one.unit_id),
            measures[one.measure_id].title,
            proposal_words(one),
            command_of(one),
        )
        for one in found
    ]


def _newest_month(snapshot: Snapshot) -> date:
    points = snapshot.frame("chart_points", unit_kind=str(UnitKind.NETWORK))
    months: list[date] = points["month"].unique().sort().to_list()
    if not months:
        _refuse("nothing is published yet", "exams: elastoqa intake, elastoqa refresh", "USE-042")
    return months[-1]


def _check_period(values: pl.DataFrame, first: date, last: date, *, newest: date) -> pl.DataFrame:
    if last < first:
        _refuse(f"{month_name(last)} is before {month_name(first)}", "a period", "USE-043")
    if last >= newest:
        _refuse(
            f"{month_name(last)} is not over",
            f"a month before {month_name(newest)}, the newest with exams",
            "USE-044",
        )
    period = values.filter(pl.col("month").is_between(first, last), pl.col("n") > 0)
    if period.is_empty():
        _refuse(
            f"there are no exams from {month_name(first)} to {month_name(last)}",
            "months with exams of this unit and measure",
            "USE-045",
        )
    if period["criteria_id"].n_unique() > 1:
        names = ", ".join(period["criteria_id"].unique().sort().to_list())
        _refuse(
            f"these months were judged by different criteria sets ({names})",
            "months of one criteria set; they are never joined",
            "USE-046",
        )
    return period


def _check_devices(measure: Measure, changes: tuple[date, ...], first: date, last: date) -> None:
    inside = [month for month in changes if first < month <= last]
    if measure.depends_on_device and inside:
        _refuse(
            f"the devices changed in {month_name(inside[0])}, and {measure.title.lower()} "
            "depends on them",
            "months with the same devices",
            "USE-047",
        )


def _warnings(row: dict, fewest_exams: int) -> tuple[str, ...]:
    found = []
    if row["n_months"] < FEWEST_MONTHS:
        found.append(
            f"{row['n_months']} months stand behind it; with fewer than {FEWEST_MONTHS} its limits "
            "are hardly known and are drawn wider."
        )
    if row["n"] < fewest_exams:
        found.append(f"{row['n']} exams stand behind it; the network asks for {fewest_exams}.")
    return tuple(found)


def _refuse(what: str, expected: str, code: str) -> None:
    raise WrongUse(what, expected=expected, todo="Nothing was changed", code=code)
