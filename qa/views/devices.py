"""A site's devices: how much they are used, how their exams come out, and what needs service."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.measures import add_months_up, measure_values
from qa.model.months import add_months, month_name
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.names import spoken_name
from qa.views.worklist import WorkItem

MONTHS = 12


@dataclass(frozen=True)
class DeviceRow:
    """One device over twelve months. need: its item in words; empty where it has none."""

    device_id: str
    name: str
    techniques: str
    n: int
    not_reliable_text: str
    newest: str
    need: str


def site_devices(
    published: Published, items: tuple[WorkItem, ...], *, site_id: str, month: date
) -> tuple[DeviceRow, ...]:
    """Devices with judged exams at the site in the year that ends with the month, by id.

    Weak when: devices are compared by the share alone; who uses them, on whom, differs.
    """
    counts = published.frame("monthly_counts", site_id=site_id).filter(
        pl.col("month").is_between(add_months(month, 1 - MONTHS), month)
    )
    measure = published.definitions.measure_by_key("not_reliable")
    sums = add_months_up(
        measure_values(counts, measures=[measure], unit_kind=UnitKind.DEVICE, home_sites={})
    )
    used = counts.group_by("device_id").agg(pl.col("technique").unique().sort())
    techniques = dict(used.drop_nulls("device_id").iter_rows())
    needs = {item.unit_id: item for item in items if item.unit_kind == UnitKind.DEVICE}
    return tuple(
        _row(published, row, techniques[row["unit_id"]], needs.get(row["unit_id"]))
        for row in sums.to_dicts()
    )


def _row(
    published: Published, row: dict, techniques: list[str], item: WorkItem | None
) -> DeviceRow:
    need = ""
    if item is not None:
        need = words.as_sentence(f"{item.finding.split(': ', 1)[-1]}. {item.suggestion}")
    return DeviceRow(
        device_id=row["unit_id"],
        name=spoken_name(published.network, UnitKind.DEVICE, row["unit_id"]),
        techniques=words.listed(techniques),
        n=row["n"],
        not_reliable_text=words.percent_with_interval(row["value"], row["lower"], row["upper"]),
        newest=month_name(row["newest"]),
        need=need,
    )
