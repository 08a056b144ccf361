"""What the data say of other explanations: the others, the devices, the patients."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from qa.charts.series import SERIES_KEY
from qa.model.definitions import Measure
from qa.model.words import UnitKind
from qa.signals.families import Families
from qa.signals.parts import MONTHS_BEFORE, Cells, Mask, Places, Shift, month_number
from qa.stats.intervals import newcombe_difference

Row = dict[str, Any]

PROBE_KEY = "large_patient_probe"

LEAST_PROBE_CHANGE = 0.05
"""Change of the share of large-patient probes that is spoken of, beside being beyond chance."""


@dataclass(frozen=True)
class ProbeShare:
    """Share of exams with the large-patient probe; change: -1 fewer, 0 as before, 1 more."""

    before: float
    since: float
    change: int


@dataclass(frozen=True)
class Patients:
    """Share of events that the model expects of these patients, before and since."""

    before: float
    since: float


@dataclass(frozen=True)
class Context:
    """Facts beside a signal, over the months since it began against those before.

    Args:
        own: the unit itself.
        others: the site's other operators, the other devices or the other sites, together.
        n_others: how many of them had exams since.
        parts: for a site, a device or the network each operator or site within it.
        devices: for an operator or a site each device with enough exams.
        elsewhere: for a device the same operators on other devices.
        patients: what the case-mix model expects of the unit's patients; None: not adjusted.
        probe: of the unit's own exams; None: not known.
    """

    own: Shift | None = None
    others: Shift | None = None
    n_others: int = 0
    parts: tuple[Shift, ...] = ()
    devices: tuple[tuple[str, Shift], ...] = ()
    elsewhere: Shift | None = None
    patients: Patients | None = None
    probe: ProbeShare | None = None


def find_contexts(
    signals: pl.DataFrame,
    points: pl.DataFrame,
    *,
    places: Places,
    measures: Sequence[Measure],
    families: Families,
) -> dict[str, Context]:
    """Context of each signal that stands for itself, by signal_id.

    Args: points: CHART_POINTS, for what the case-mix model expects.

    Others that have an item of their own in the same month and measure are left out of `others`.
    """
    probe_id = next((one.id for one in measures if one.key == PROBE_KEY), None)
    standing = signals.filter(pl.col("explained_by").is_null())
    patients, leads = _patients(standing, points), standing.to_dicts()
    busy: dict[tuple[Any, str], set[str]] = defaultdict(set)
    for row in leads:
        busy[(row["month"], row["measure_id"])] |= {row["unit_id"], row["site_id"] or ""}
    return {
        row["signal_id"]: replace(
            _context(
                row,
                places,
                probe_id if families.is_technique(row["measure_id"]) else None,
                busy[(row["month"], row["measure_id"])],
            ),
            patients=patients.get(row["signal_id"]),
        )
        for row in leads
    }


def _patients(standing: pl.DataFrame, points: pl.DataFrame) -> dict[str, Patients]:
    """What the model expects of each unit's patients; what has no model is left out."""
    known = points.filter((pl.col("n") > 0) & pl.col("expected").is_not_null())
    at = known.select(*SERIES_KEY, "n", counted_month="month", should="expected")
    is_since = pl.col("counted_month") >= pl.col("since_month")
    earliest = pl.col("since_month").dt.offset_by(f"-{MONTHS_BEFORE}mo")
    sums = (
        standing.select("signal_id", *SERIES_KEY, "month", "since_month")
        .join(at, on=list(SERIES_KEY), how="inner")
        .filter(pl.col("counted_month").is_between(earliest, pl.col("month")))
        .group_by("signal_id")
        .agg(
            before=pl.col("should").filter(~is_since).sum() / pl.col("n").filter(~is_since).sum(),
            since=pl.col("should").filter(is_since).sum() / pl.col("n").filter(is_since).sum(),
        )
        .filter(pl.col("before").is_finite() & pl.col("since").is_finite())
    )
    return {one: Patients(before, since) for one, before, since in sums.iter_rows()}


def _context(row: Row, places: Places, probe_id: str | None, busy: set[str]) -> Context:
    kind = row["unit_kind"]
    if row["site_id"] is None and kind != UnitKind.NETWORK:
        return Context()
    site_id = None if kind == UnitKind.NETWORK else row["site_id"]
    cells = _cells(places, site_id, row, row["measure_id"])
    own = _own(cells, row)
    facts: dict[str, Any] = {
        "own": _shift(cells, own, row),
        "probe": _probe(places, site_id, row, probe_id),
    }
    if kind == UnitKind.SITE:
        network = _cells(places, None, row, row["measure_id"])
        facts |= _others(network, ~network.of_units({row["unit_id"], *busy}), row)
        facts |= {"parts": _parts(cells, own, row), "devices": _devices(cells, own, row)}
    elif kind == UnitKind.OPERATOR:
        rest = ~own & ~cells.of_units(busy)
        facts |= _others(cells, rest, row) | {"devices": _devices(cells, own, row)}
    elif kind == UnitKind.DEVICE:
        people = cells.of_units(cells.units(own, since=_span(row)[0], to=_span(row)[1]))
        alike = ~own & cells.of_technique_of(row["unit_id"])
        facts |= _others(cells, alike, row) | {"parts": _parts(cells, own, row)}
        facts |= {"elsewhere": _shift(cells, alike & people, row)}
    else:
        facts |= {"parts": _parts(cells, own, row)}
    return Context(**facts)


def _cells(places: Places, site_id: str | None, row: Row, measure_id: str) -> Cells:
    return places.cells(site_id, measure_id=measure_id, criteria_id=row["criteria_id"])


def _own(cells: Cells, row: Row) -> Mask:
    if row["unit_kind"] == UnitKind.OPERATOR:
        return cells.of_units([row["unit_id"]])
    if row["unit_kind"] == UnitKind.DEVICE:
        return cells.of_device(row["unit_id"])
    return cells.everyone


def _span(row: Row) -> tuple[int, int]:
    return month_number(row["since_month"]), month_number(row["month"])


def _shift(cells: Cells, part: Mask, row: Row) -> Shift:
    since, to = _span(row)
    return cells.shift(part, since=since, to=to, centre=row["centre"], side=row["side"])


def _others(cells: Cells, rest: Mask, row: Row) -> dict[str, Any]:
    since, to = _span(row)
    named = cells.devices if row["unit_kind"] == UnitKind.DEVICE else cells.units
    n_others = len(named(rest, since=since, to=to))
    return {"others": _shift(cells, rest, row) if n_others else None, "n_others": n_others}


def _parts(cells: Cells, own: Mask, row: Row) -> tuple[Shift, ...]:
    since, to = _span(row)
    return tuple(
        _shift(cells, own & cells.of_units([one]), row)
        for one in cells.units(own, since=since, to=to)
    )


def _devices(cells: Cells, own: Mask, row: Row) -> tuple[tuple[str, Shift], ...]:
    since, to = _span(row)
    shifts = [
        (one, _shift(cells, own & cells.of_device(one), row))
        for one in cells.devices(own, since=since, to=to)
    ]
    return tuple((one, shift) for one, shift in shifts if shift.is_known)


def _probe(
    places: Places, site_id: str | None, row: Row, probe_id: str | None
) -> ProbeShare | None:
    if probe_id is None:
        return None
    cells = _cells(places, site_id, row, probe_id)
    own, (since, to) = _own(cells, row), _span(row)
    now = own & (cells.month >= since) & (cells.month <= to)
    before = own & (cells.month < since) & (cells.month >= since - MONTHS_BEFORE)
    x, n, x0, n0 = (
        int(counts[part].sum()) for part in (now, before) for counts in (cells.n_events, cells.n)
    )
    if min(n, n0) == 0:
        return None
    low, high = (float(end) for end in newcombe_difference(x, n, x0, n0))
    gap = x / n - x0 / n0
    is_sure = (low > 0 or high < 0) and abs(gap) >= LEAST_PROBE_CHANGE
    return ProbeShare(x0 / n0, x / n, int(np.sign(gap)) if is_sure else 0)
