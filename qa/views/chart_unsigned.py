"""Parts of a chart whose exams were made between an event of a device and its sign-off."""

from datetime import date

import polars as pl

from qa.model.definitions import Measure
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views.shown import Unsigned


def unsigned_parts(
    published: Published,
    measure: Measure,
    *,
    unit_kind: str,
    unit_id: str,
    shown: tuple[date, date],
) -> tuple[Unsigned, ...]:
    """Stretches to mark in the chart of a site, or of an operator by the sites she works at.

    Args: shown: first and last day of the chart.
    Returns: by device and day; nothing for measures that do not depend on the device.
    Weak when: an operator never used the device: her chart is marked all the same.
    """
    sites = _sites(published, unit_kind, unit_id) if measure.depends_on_device else []
    if not sites:
        return ()
    first, last = shown
    events = published.frame("equipment_events", site_id=sites).filter(
        pl.col("event_on") <= last,
        pl.col("signed_on").is_null() | (pl.col("signed_on") > first),
        pl.col("signed_on").is_null() | (pl.col("signed_on") > pl.col("event_on")),
    )
    return tuple(
        Unsigned(
            device_id=row["device_id"],
            event=row["event"],
            from_day=row["event_on"],
            to_day=row["signed_on"],
            draw_from=max(row["event_on"], first),
            draw_to=min(row["signed_on"] or last, last),
        )
        for row in events.sort("device_id", "event_on").iter_rows(named=True)
    )


def _sites(published: Published, unit_kind: str, unit_id: str) -> list[str]:
    if unit_kind == UnitKind.SITE:
        return [unit_id]
    person = published.network.operator(unit_id) if unit_kind == UnitKind.OPERATOR else None
    return list(person.sites) if person else []
