"""Where charts break because the machines changed."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from qa.model.definitions import Measure, Network
from qa.model.months import month_of
from qa.model.words import UnitKind

_EARLIEST = date(1, 1, 1)

EQUIPMENT_CHANGES: dict[str, pl.DataType | type[pl.DataType]] = {
    "unit_kind": pl.String,
    "unit_id": pl.String,
    "equipment_from": pl.Date,
}


def equipment_changes(network: Network, events: pl.DataFrame | None = None) -> pl.DataFrame:
    """One row per site or operator and month from which other devices stand there.

    Args: events: EQUIPMENT_EVENTS; None: the register knows of none.
    Returns: unit_kind, unit_id, equipment_from; the first devices of a site are no change, and
        neither is a device that only measured elsewhere: network and devices have none.
    Method: the first day of every dated assignment of a device, and the day after its last, at
        that site, and the day on which a device was signed off after an event. Until then months
        are held against the baseline before, so that a shift is not taken for the new level, and
        exams are marked. The whole month counts as the new one. Operators follow every site they
        work at.
    """
    found: dict[str, set[date]] = {site.id: set() for site in network.sites}
    for device in network.devices:
        for one in device.periods:
            if one.from_day is not None:
                found[one.site].add(month_of(one.from_day))
            if one.to_day is not None:
                found[one.site].add(month_of(date.fromordinal(one.to_day.toordinal() + 1)))
    if events is not None:
        signed = events.drop_nulls("signed_on").select("site_id", "signed_on")
        for site, day in signed.iter_rows():
            found.setdefault(site, set()).add(month_of(day))
    rows = [(str(UnitKind.SITE), site, month) for site, months in found.items() for month in months]
    for person in network.operators:
        months = set[date]().union(*(found.get(site, set()) for site in person.sites))
        rows += [(str(UnitKind.OPERATOR), person.id, month) for month in months]
    return pl.DataFrame(sorted(rows), schema=EQUIPMENT_CHANGES, orient="row")


def months_of_change(
    network: Network, events: pl.DataFrame | None = None, *, unit_kind: str, unit_id: str
) -> tuple[date, ...]:
    """Months from which the unit's devices are others, rising."""
    rows = equipment_changes(network, events).filter(
        (pl.col("unit_kind") == unit_kind) & (pl.col("unit_id") == unit_id)
    )
    return tuple(rows["equipment_from"].to_list())


def add_equipment(
    frame: pl.DataFrame,
    changes: pl.DataFrame | None,
    *,
    measures: Sequence[Measure],
    month: str = "month",
) -> pl.DataFrame:
    """Add equipment_from: since when the devices of the row's month stand there.

    Args:
        frame: unit_kind, unit_id, measure_id and the column named by `month`.
        changes: equipment_changes; None: there are none.
        measures: only those that depend on the device break.
    Returns: the rows, with equipment_from; null before the first change and where nothing breaks.
        Where something breaks they come sorted by month.
    """
    ids = [measure.id for measure in measures if measure.depends_on_device]
    if changes is None or changes.is_empty() or not ids:
        return frame.with_columns(equipment_from=pl.lit(None, dtype=pl.Date))
    table = changes.join(pl.DataFrame({"measure_id": ids}), how="cross").sort("equipment_from")
    return frame.sort(month).join_asof(
        table,
        left_on=month,
        right_on="equipment_from",
        by=["unit_kind", "unit_id", "measure_id"],
        strategy="backward",
        coalesce=False,
        check_sortedness=False,
    )
