"""The months of one unit and measure, cut where another baseline, device or rule begins."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.charts.baseline import FEWEST_MONTHS, judging_baselines
from qa.charts.continuous import ContinuousMeasure
from qa.charts.equipment import months_of_change
from qa.charts.kinds import Quantity
from qa.charts.months_of import SeriesMonths, pool_quarters, series_months
from qa.model.definitions import Measure
from qa.model.months import add_months, parse_month
from qa.model.published import Published

_FIRST = date(1, 1, 1)


@dataclass(frozen=True)
class SeriesPart:
    """Months that share one baseline. baseline: a row of BASELINES, None where there is none.

    why: what began with it: "baseline", "devices" or "" for the first.
    """

    series: SeriesMonths
    baseline: dict | None
    why: str

    @property
    def is_long(self) -> bool:
        """Its baseline has months enough to tell how much they differ."""
        return int(self.series.is_baseline.sum()) >= FEWEST_MONTHS

    @property
    def span(self) -> tuple[date, date] | None:
        """First day of the baseline and the first day after it."""
        if self.baseline is None:
            return None
        return self.baseline["from_month"], add_months(self.baseline["to_month"], 1)


def counts_of(
    published: Published, unit_kind: str, unit_id: str, last_month: date, *, is_rows: bool
) -> pl.DataFrame:
    """Monthly counts of the unit under the criteria set that judged its newest month."""
    place = {} if unit_kind == "network" else {f"{unit_kind}_id": unit_id}
    name = "row_counts" if is_rows else "monthly_counts"
    counts = published.frame(name, **place).filter(pl.col("month") <= last_month)
    newest = counts.sort("month", "criteria_id").tail(1)
    return counts.join(newest.select("criteria_id"), on="criteria_id", how="semi")


def series_parts(
    published: Published,
    counts: pl.DataFrame,
    *,
    unit_kind: str,
    unit_id: str,
    measure: Measure | ContinuousMeasure,
) -> list[SeriesPart]:
    """The series in order, one part for each baseline; at least one part.

    Args: counts: counts_of; months of one criteria set.
    Method: a part begins where a person set a baseline and, for a measure that depends on the
        device, where devices changed. A continuous measure has the periods frozen for another
        measure of the unit; no month is taken out of them.
    """
    months, quantity = _months(counts, measure)
    baselines = _baselines(published, unit_kind, unit_id, measure, counts)
    changes: tuple[date, ...] = ()
    if measure.depends_on_device:
        changes = months_of_change(
            published.network,
            published.frame("equipment_events"),
            unit_kind=unit_kind,
            unit_id=unit_id,
        )
    starts = {_FIRST: ""} | dict.fromkeys(changes, "devices")
    rows = list(baselines.iter_rows(named=True))
    decided = [row for row in rows if row["judges_from"] == row["from_month"]]
    starts |= {row["judges_from"]: "baseline" for row in decided}
    order = sorted(starts)
    parts = []
    for start, end in zip(order, [*order[1:], date.max], strict=True):
        inside = months.filter(pl.col("month") >= start, pl.col("month") < end)
        if inside.is_empty() and start != _FIRST:
            continue
        own = [row for row in rows if start <= row["from_month"] < end]
        row = own[-1] if own else None
        parts.append(SeriesPart(_series(inside, quantity, measure, row), row, starts[start]))
    return [one for one in parts if one.series.months] or parts[:1]


def in_quarters(part: SeriesPart) -> SeriesPart:
    """The same part by calendar quarter."""
    return SeriesPart(pool_quarters(part.series), part.baseline, part.why)


def _months(
    counts: pl.DataFrame, measure: Measure | ContinuousMeasure
) -> tuple[pl.DataFrame, Quantity]:
    if isinstance(measure, ContinuousMeasure):
        return measure.months(counts), measure.quantity
    months = counts.group_by("month").agg(
        n=pl.sum_horizontal(pl.col(*measure.denominator).sum()),
        total=pl.sum_horizontal(pl.col(*measure.numerator).sum()),
    )
    return months.sort("month"), Quantity.SHARE


def _series(
    months: pl.DataFrame,
    quantity: Quantity,
    measure: Measure | ContinuousMeasure,
    row: dict | None,
) -> SeriesMonths:
    removed: list[date] = []
    if row and isinstance(measure, Measure):
        removed = [parse_month(one) for one in row["removed_months"] or ()]
    span = (row["from_month"], row["to_month"]) if row else None
    return series_months(months, quantity=quantity, baseline=span, removed=removed)


def _baselines(
    published: Published,
    unit_kind: str,
    unit_id: str,
    measure: Measure | ContinuousMeasure,
    counts: pl.DataFrame,
) -> pl.DataFrame:
    """Baselines of the series that some month is drawn against, in the order of their months."""
    rows = published.frame("baselines", unit_kind=unit_kind, unit_id=unit_id).join(
        counts.select("criteria_id").unique(), on="criteria_id", how="semi"
    )
    if isinstance(measure, Measure):
        own = rows.filter(pl.col("measure_id") == measure.id)
    else:
        own = _lent(published, rows, measure)
    return judging_baselines(own).sort("judges_from", "set_at")


def _lent(published: Published, rows: pl.DataFrame, measure: ContinuousMeasure) -> pl.DataFrame:
    """Periods frozen by rule for the unit's first measure that breaks where this one does.

    What a person decides about another measure does not re-set this one.
    """
    measures = published.definitions.measures.values()
    alike = [one.id for one in measures if one.depends_on_device == measure.depends_on_device]
    frozen = rows.filter(pl.col("judges_from").is_null())
    fitting = frozen.filter(pl.col("measure_id").is_in(alike))
    kept = fitting if fitting.height else frozen
    return kept.filter(pl.col("measure_id") == pl.col("measure_id").min())
