"""Reads the truth for tests that ask whether what was planted is found."""

from datetime import date

import polars as pl

from demo_sites.truth import PlantedEvent, Truth
from qa.model.months import months_between


def operator_drifts(truth: Truth, *, at_least: float = 0.10) -> list[PlantedEvent]:
    """Operators' technique drifts of at least so many points (0.10 is 10 points)."""
    return [event for event in truth.of_kind("technique_drift") if (event.size or 0.0) >= at_least]


def months_to_signal(
    signals: pl.DataFrame, event: PlantedEvent, *, measure_ids: tuple[str, ...]
) -> int | None:
    """Months from the start of an event to the first signal on its target; 0 is the same month.

    signals: frame of schema SIGNALS. None: no signal from the start on.
    """
    found: date | None = signals.filter(
        (pl.col("unit_id") == event.target)
        & pl.col("measure_id").is_in(measure_ids)
        & (pl.col("month") >= event.start_month)
    )["month"].min()
    return None if found is None else months_between(event.start_month, found)


def touched_units(truth: Truth) -> set[str]:
    """Ids of all sites, operators and devices that an event is about, and of their sites."""
    return {unit for event in truth.events for unit in (event.target, event.site_id)}
