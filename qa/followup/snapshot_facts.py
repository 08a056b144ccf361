"""One published snapshot → what it says of a site's months, for the verdicts on requirements."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from qa.followup.facts import BaselineFact, ListedItem, MonthValue, SnapshotFacts
from qa.followup.standing import operator_practice
from qa.measures import counted_noun, is_of_rows, measure_values
from qa.model.definitions import InForce, Measure
from qa.model.months import add_months
from qa.model.published import Published
from qa.model.requirement import Requirement
from qa.model.words import UnitKind


def read_facts(
    published: Published,
    *,
    site_id: str,
    months: Sequence[date],
    requirements: Sequence[Requirement] = (),
) -> dict[date, SnapshotFacts]:
    """Facts of some months of one site.

    Args:
        requirements: used where the snapshot holds none (it is of an older program).
    Returns: one entry a month, also for months without exams.
    Note: measures of a month that two criteria sets judged are left out, since they do not add up.
    """
    wanted = tuple(published.definitions.newest_requirements()) or tuple(requirements)
    values = _values(published, site_id)
    intake = _intake(published, site_id)
    baselines = _baselines(published, site_id)
    items = _items(published, site_id)
    own = published.frame("monthly_counts", site_id=site_id)
    # Whoever examined here, wherever they did: a large network's whole counts are hundreds of MB.
    people = own["operator_id"].drop_nulls().unique().sort().to_list()
    counts = published.frame("monthly_counts", operator_id=people)
    return {
        month: SnapshotFacts(
            snapshot_id=published.snapshot_id,
            published_at=published.published_at,
            requirements=wanted,
            values=values.get(month, {}),
            intake=intake.get(month),
            watched=_watched(published, values.get(month, {})),
            baselines=baselines,
            items=tuple(items.get(month, ())),
            in_force=_in_force(published, month),
            retention=dict(published.network.retention_years),
            practice=_practice(counts, site_id, month),
            settings=published.network.settings,
            check_rules=published.network.phantom_checks,
            devices=_devices(own, site_id, month),
        )
        for month in months
    }


def _values(published: Published, site_id: str) -> dict[date, dict[str, MonthValue]]:
    measures = list(published.definitions.measures.values())
    found: dict[date, dict[str, MonthValue]] = {}
    for name, of_rows in (("monthly_counts", False), ("row_counts", True)):
        own = [one for one in measures if is_of_rows(one) == of_rows]
        values = measure_values(
            published.frame(name, site_id=site_id),
            measures=own,
            unit_kind=UnitKind.SITE,
            home_sites={},
        )
        only = values.filter(pl.len().over("measure_id", "month") == 1)
        by_id = {one.id: one for one in own}
        for row in only.iter_rows(named=True):
            measure = by_id[row["measure_id"]]
            found.setdefault(row["month"], {})[measure.key] = _month_value(row, measure)
    return found


def _month_value(row: dict, measure: Measure) -> MonthValue:
    return MonthValue(
        n_events=row["n_events"],
        n=row["n"],
        value=row["value"],
        lower=row["lower"],
        upper=row["upper"],
        min_n=measure.min_n,
        noun=counted_noun(measure),
    )


def _watched(published: Published, values: dict[str, MonthValue]) -> dict[str, str]:
    return {
        one.id: one.title
        for one in published.definitions.measures.values()
        if one.is_watched and UnitKind.SITE in one.units and one.key in values
        if values[one.key].n > 0
    }


def _intake(published: Published, site_id: str) -> dict[date, tuple[str, str, bool, date | None]]:
    return {
        row["month"]: (
            row["state"],
            row["sentence"],
            row["is_closed"],
            row["closed_at"].date() if row["closed_at"] else None,
        )
        for row in published.frame("intake_months", site_id=site_id).iter_rows(named=True)
    }


def _baselines(published: Published, site_id: str) -> tuple[BaselineFact, ...]:
    rows = published.frame("baselines", unit_kind=UnitKind.SITE.value, unit_id=site_id)
    titles = {one.id: one.title for one in published.definitions.measures.values()}
    return tuple(
        BaselineFact(
            row["measure_id"],
            titles.get(row["measure_id"], row["measure_id"]),
            row["set_by"],
            row["set_at"].date(),
        )
        for row in rows.iter_rows(named=True)
    )


def _items(published: Published, site_id: str) -> dict[date, list[ListedItem]]:
    """Leading signals of items on the list; those that another explains are part of it."""
    rows = published.frame("signals").filter(
        (pl.col("site_id") == site_id)
        | ((pl.col("unit_kind") == UnitKind.SITE) & (pl.col("unit_id") == site_id)),
        pl.col("rank") > 0,
    )
    found: dict[date, list[ListedItem]] = {}
    for row in rows.iter_rows(named=True):
        item = ListedItem(row["item_id"] or row["signal_id"], row["finding"], row["measure_id"])
        found.setdefault(row["month"], []).append(item)
    return found


def _in_force(published: Published, month: date) -> tuple[tuple[InForce, str], ...]:
    """Criteria sets that judged some day of the month."""
    after = add_months(month, 1)
    in_order = sorted(published.network.criteria, key=lambda one: one.from_day)
    before = [one for one in in_order if one.from_day <= month][-1:]
    within = [one for one in in_order if month < one.from_day < after]
    known = published.definitions.criteria
    return tuple((one, known[one.id].fingerprint) for one in (*before, *within) if one.id in known)


def _devices(counts: pl.DataFrame, site_id: str, month: date) -> dict[str, int]:
    """Devices that performed exams at the site that month."""
    here = counts.filter(
        (pl.col("site_id") == site_id) & (pl.col("month") == month) & (pl.col("n_performed") > 0)
    ).drop_nulls("device_id")
    sums = here.group_by("device_id").agg(pl.col("n_performed").sum()).sort("device_id")
    return dict(sums.iter_rows())


def _practice(counts: pl.DataFrame, site_id: str, month: date) -> dict:
    """Of operators who performed exams at the site that month."""
    here = counts.filter(
        (pl.col("site_id") == site_id) & (pl.col("month") == month) & (pl.col("n_performed") > 0)
    )
    who = {*here["operator_id"].drop_nulls()}
    return {
        name: practice
        for name, practice in operator_practice(counts, month=month).items()
        if name in who
    }
