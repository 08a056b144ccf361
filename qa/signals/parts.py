"""Exams behind a signal, part by part: what is left when an operator or a device is taken out."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import expit, logit

from qa.model.definitions import Measure
from qa.model.words import UnitKind
from qa.stats.predictive import predictive_upper_tail

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

MONTHS_BEFORE = 24
"""Months before a change that say what was usual."""

PRIOR_EXAMS = 10.0
"""Exams at the centre line that steady a part with few exams of its own before the change."""

FEWEST_EXAMS = 20
"""Exams since the change below which nothing is said of a part."""

STEADY_ABOVE = 0.05
"""Tail up to which a part counts as moved too."""

SURELY_MOVED = 0.01
"""Tail up to which a part speaks against a cause that lies elsewhere."""

_MONTH_NUMBER = pl.col("month").dt.year().cast(pl.Int64) * 12 + pl.col("month").dt.month()


def month_number(month: date) -> int:
    return month.year * 12 + month.month


def month_of(number: int) -> date:
    """First day of the month that month_number numbers."""
    return date((number - 1) // 12, (number - 1) % 12 + 1, 1)


@dataclass(frozen=True)
class Shift:
    """A part before and since a change. tail: chance of as many since, if nothing changed."""

    n_events: int
    n: int
    before_events: int
    before_n: int
    expected: float
    tail: float
    side: int

    @property
    def excess(self) -> float:
        """Exams beyond what was usual, bad side up."""
        return (self.n_events - self.expected) * self.side

    @property
    def is_known(self) -> bool:
        return self.n >= FEWEST_EXAMS

    @property
    def is_moved(self) -> bool:
        return self.is_known and self.tail <= STEADY_ABOVE

    @property
    def is_surely_moved(self) -> bool:
        return self.is_known and self.tail <= SURELY_MOVED

    @property
    def is_steady(self) -> bool:
        return self.is_known and self.tail > STEADY_ABOVE

    @property
    def share(self) -> float:
        return self.n_events / self.n if self.n else float("nan")

    @property
    def share_before(self) -> float:
        return self.expected / self.n if self.n else float("nan")


@dataclass(frozen=True)
class Cells:
    """Monthly counts of one measure in one place: an element per part and month.

    Args: device_techniques: of each device name. unit, device: place in the names. A unit is an
    operator, or a site where the place is the network; a device without a name is not known.
    mix: share of events that the case-mix model expects of a cell's patients; nan: not known.
    """

    unit_names: tuple[str, ...]
    device_names: tuple[str, ...]
    device_techniques: tuple[str, ...]
    unit: Ints
    device: Ints
    month: Ints
    n_events: Ints
    n: Ints
    mix: Floats

    def shift(self, part: Mask, *, since: int, to: int, centre: float, side: int) -> Shift:
        """What a part did from month `since` to month `to`, against what was usual before."""
        now = part & (self.month >= since) & (self.month <= to)
        before = part & (self.month < since) & (self.month >= since - MONTHS_BEFORE)
        x, n = int(self.n_events[now].sum()), int(self.n[now].sum())
        x0, n0 = int(self.n_events[before].sum()), int(self.n[before].sum())
        a, b = x0 + PRIOR_EXAMS * centre + 0.01, n0 - x0 + PRIOR_EXAMS * (1 - centre) + 0.01
        a, b = _follow_patients(a, b, before=self._mix_of(before), now=self._mix_of(now))
        tail = bad_tail(x, n, event_weight=a, other_weight=b, side=side) if n else 1.0
        return Shift(x, n, x0, n0, n * a / (a + b), tail, side)

    def _mix_of(self, part: Mask) -> float:
        """Mean share expected of a part's exams; nan where no cell has one."""
        known = part & np.isfinite(self.mix)
        n = self.n[known].sum()
        return float((self.mix[known] * self.n[known]).sum() / n) if n else float("nan")

    @property
    def everyone(self) -> Mask:
        return np.ones(len(self.month), dtype=bool)

    def of_units(self, names: Iterable[str]) -> Mask:
        wanted = set(names)
        return np.isin(self.unit, [k for k, one in enumerate(self.unit_names) if one in wanted])

    def of_device(self, name: str) -> Mask:
        return np.isin(self.device, [k for k, one in enumerate(self.device_names) if one == name])

    def of_technique_of(self, name: str) -> Mask:
        """Cells of devices with the same techniques as this one."""
        technique = self.device_techniques[self.device_names.index(name)]
        same = [k for k, one in enumerate(self.device_techniques) if one == technique]
        return np.isin(self.device, same)

    def units(self, part: Mask, *, since: int, to: int) -> list[str]:
        """Names of the part's units with exams from month `since` to month `to`."""
        now = part & (self.month >= since) & (self.month <= to) & (self.n > 0)
        return [self.unit_names[k] for k in np.unique(self.unit[now])]

    def devices(self, part: Mask, *, since: int, to: int) -> list[str]:
        """As units, those that are known."""
        now = part & (self.month >= since) & (self.month <= to) & (self.n > 0)
        return [name for k in np.unique(self.device[now]) if (name := self.device_names[k])]


def _follow_patients(a: float, b: float, *, before: float, now: float) -> tuple[float, float]:
    """What was usual, moved by the log odds that the patients since let expect more or less."""
    if not (0 < before < 1 and 0 < now < 1):
        return a, b
    share = float(expit(logit(a / (a + b)) + logit(now) - logit(before)))
    return (a + b) * share, (a + b) * (1 - share)


def bad_tail(
    n_events: int, n: int, *, event_weight: float, other_weight: float, side: int
) -> float:
    """Chance of as many bad exams, given what was known; side -1: fewer events are bad."""
    bad, weights = (
        (n_events, (event_weight, other_weight))
        if side > 0
        else (
            n - n_events,
            (other_weight, event_weight),
        )
    )
    return float(
        predictive_upper_tail([bad], [n], event_weight=weights[:1], other_weight=weights[1:])[0]
    )


class Places:
    """Cells of any place and measure, each made once, when it is first asked for."""

    def __init__(self, cells_of: Callable[[str | None, str, str], Cells]) -> None:
        self._cells_of = cells_of
        self._made: dict[tuple[str | None, str, str], Cells] = {}

    def cells(self, site_id: str | None, *, measure_id: str, criteria_id: str) -> Cells:
        """Cells of a site by operator and device; of the network (None) by site."""
        key = (site_id, measure_id, criteria_id)
        if key not in self._made:
            self._made[key] = self._cells_of(*key)
        return self._made[key]


def places_of_counts(
    counts: pl.DataFrame, measures: Sequence[Measure], expected: pl.DataFrame | None = None
) -> Places:
    """Places from MONTHLY_COUNTS; a measure of columns that they do not have has no cells.

    Args: expected: EXPECTED_COUNTS; None: nothing is adjusted.
    """
    by_id = {one.id: one for one in measures}
    sites, mixes = _by_site(counts), _by_site(expected) if expected is not None else {}

    def cells_of(site_id: str | None, measure_id: str, criteria_id: str) -> Cells:
        measure = by_id.get(measure_id)
        own = sites.get(site_id, counts.clear())
        if measure is None or not {*measure.numerator, *measure.denominator} <= set(own.columns):
            own, numerator, denominator = own.clear(), [pl.lit(0)], [pl.lit(0)]
        else:
            numerator = [pl.col(name) for name in measure.numerator]
            denominator = [pl.col(name) for name in measure.denominator]
        is_network = site_id is None
        return _as_cells(
            own.filter(pl.col("criteria_id") == criteria_id).select(
                unit="site_id" if is_network else "operator_id",
                device=pl.lit("") if is_network else pl.col("device_id").fill_null(""),
                technique=pl.lit("") if is_network else pl.col("technique"),
                month_number=_MONTH_NUMBER,
                n_events=pl.sum_horizontal(numerator).cast(pl.Int64),
                n=pl.sum_horizontal(denominator).cast(pl.Int64),
            ),
            _mix(mixes.get(site_id), is_network, measure_id, criteria_id),
        )

    return Places(cells_of)


def _by_site(frame: pl.DataFrame) -> dict[str | None, pl.DataFrame]:
    """The whole frame as None, and each site's part; cut once, because many places are asked."""
    parts = frame.partition_by("site_id", as_dict=True)
    return {None: frame} | {str(key[0]): part for key, part in parts.items()}


def _mix(
    own: pl.DataFrame | None, is_network: bool, measure_id: str, criteria_id: str
) -> pl.DataFrame:
    """unit, month_number, mix: of a site's operators or of the network's sites, newest model."""
    if own is None:
        return pl.DataFrame(schema={"unit": pl.String, "month_number": pl.Int64, "mix": pl.Float64})
    return (
        own.filter((pl.col("measure_id") == measure_id) & (pl.col("criteria_id") == criteria_id))
        .filter(pl.col("model_id") == pl.col("model_id").max().over("month"))
        .with_columns(
            unit=pl.col("site_id" if is_network else "operator_id"), month_number=_MONTH_NUMBER
        )
        .group_by("unit", "month_number")
        .agg(mix=pl.col("expected_micro").sum() / pl.col("n").sum() / 1_000_000)
    )


def places_of_points(points: pl.DataFrame) -> Places:
    """Places from CHART_POINTS: operators at their home site; devices are not known."""
    number = pl.col("month").dt.year().cast(pl.Int64) * 12 + pl.col("month").dt.month()
    numbered = points.with_columns(
        month_number=number, device=pl.lit(""), technique=pl.lit(""), unit="unit_id"
    )

    def cells_of(site_id: str | None, measure_id: str, criteria_id: str) -> Cells:
        kind = UnitKind.SITE if site_id is None else UnitKind.OPERATOR
        own = numbered.filter(
            (pl.col("unit_kind") == str(kind))
            & (pl.col("measure_id") == measure_id)
            & (pl.col("criteria_id") == criteria_id)
        )
        own = own if site_id is None else own.filter(pl.col("site_id") == site_id)
        return _as_cells(own, _mix(None, site_id is None, measure_id, criteria_id))

    return Places(cells_of)


def _as_cells(frame: pl.DataFrame, mix: pl.DataFrame) -> Cells:
    techniques = dict(
        frame.group_by("device").agg(pl.col("technique").unique().sort().str.join(" ")).iter_rows()
    )
    parts = frame.group_by("unit", "device", "month_number").agg(pl.col("n_events", "n").sum())
    parts = (
        parts.drop_nulls("unit")
        .join(mix, on=["unit", "month_number"], how="left")
        .sort("unit", "device", "month_number")
    )
    units, unit = np.unique(parts["unit"].to_numpy().astype(str), return_inverse=True)
    devices, device = np.unique(parts["device"].to_numpy().astype(str), return_inverse=True)
    return Cells(
        unit_names=tuple(str(one) for one in units),
        device_names=tuple(str(one) for one in devices),
        device_techniques=tuple(techniques[str(one)] for one in devices),
        unit=unit.astype(np.int64).reshape(-1),
        device=device.astype(np.int64).reshape(-1),
        month=parts["month_number"].to_numpy().astype(np.int64),
        n_events=parts["n_events"].to_numpy().astype(np.int64),
        n=parts["n"].to_numpy().astype(np.int64),
        mix=parts["mix"].to_numpy().astype(np.float64),
    )
