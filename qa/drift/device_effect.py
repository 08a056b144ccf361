"""What a device does to its patients' values: beside others, and at an event. Corrects nothing."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.case_mix.bands import AGE, BMI
from qa.model.words import Outcome
from qa.stats.least_squares import fit_least_squares

DAYS = 365
MIN_EXAMS = 30
"""In each group; under it nothing is said."""
_MIX = ("operator_id", "probe", "sex", "indication", "_bmi", "_age")


@dataclass(frozen=True)
class DeviceEffect:
    """Values of one group over those of another as a ratio; None: too few exams.

    n, n_other: exams of both groups.
    """

    words: str
    n: int
    n_other: int
    ratio: float | None = None
    lower: float | None = None
    upper: float | None = None

    @property
    def is_seen(self) -> bool:
        """The interval leaves out 1."""
        return (
            self.lower is not None
            and self.upper is not None
            and not (self.lower <= 1 <= self.upper)
        )


def device_beside_others(exams: pl.DataFrame, *, device_id: str, until: date) -> DeviceEffect:
    """Stiffness on a device against others at its site, among operators who used both.

    Args:
        exams: rows of the published frame `exams` of the site. until: last day; a year counts.
    Method: least squares of log stiffness on the device, with operator, probe, sex, indication and
        bands of age and body-mass index; reliable exams of the same technique, not at a limit.
    Weak when: patients are sent to a device for a reason that is not recorded.
    """
    inside = _usable(exams).filter(
        (pl.col("exam_on") > until - timedelta(days=DAYS)) & (pl.col("exam_on") <= until)
    )
    own = pl.col("device_id") == device_id
    techniques = inside.filter(own)["technique"].unique().to_list()
    inside = inside.filter(pl.col("technique").is_in(techniques))
    both = inside.group_by("operator_id").agg(own.any() & (~own).any())
    both = both.filter(pl.col("device_id"))
    shared = inside.join(both.select("operator_id"), on="operator_id").with_columns(_own=own)
    n = int(shared["_own"].sum())
    words = "against other devices of its site, same operators"
    if min(n, shared.height - n) < MIN_EXAMS:
        return DeviceEffect(words, n, shared.height - n)
    return _ratio(shared, [shared["_own"].to_numpy()], words, n)


def device_at_event(exams: pl.DataFrame, *, device_id: str, event_on: date) -> DeviceEffect:
    """Shift of stiffness on a device from an event on, a year before and after at most.

    Method: as device_beside_others; where other devices of the site measured by the same technique
        on both sides of the day, their own shift is taken out (a difference of differences).
    """
    inside = _usable(exams).filter(
        (pl.col("exam_on") - pl.lit(event_on)).dt.total_days().abs() <= DAYS
    )
    own, after = pl.col("device_id") == device_id, pl.col("exam_on") >= event_on
    techniques = inside.filter(own)["technique"].unique().to_list()
    marked = inside.filter(pl.col("technique").is_in(techniques)).with_columns(
        _own=own, _after=after
    )
    sizes = {
        (is_own, is_after): marked.filter(
            (pl.col("_own") == is_own) & (pl.col("_after") == is_after)
        ).height
        for is_own in (True, False)
        for is_after in (True, False)
    }
    n, n_before = sizes[True, True], sizes[True, False]
    has_others = min(sizes[False, True], sizes[False, False]) >= MIN_EXAMS
    words = "from the event on" + (", other devices' shift taken out" if has_others else "")
    if min(n, n_before) < MIN_EXAMS:
        return DeviceEffect(words, n, n_before)
    if not has_others:
        marked = marked.filter("_own")
    mine, later = marked["_own"].to_numpy(), marked["_after"].to_numpy()
    first = [mine & later, mine, later] if has_others else [later]
    found = _ratio(marked, first, words, n)
    return DeviceEffect(words, n, n_before, found.ratio, found.lower, found.upper)


def _usable(exams: pl.DataFrame) -> pl.DataFrame:
    return exams.filter(
        (pl.col("outcome") == Outcome.RELIABLE.value)
        & (pl.col("stiffness_kpa") > 0)
        & ~pl.col("is_stiffness_censored")
    ).with_columns(_bmi=BMI.level(), _age=AGE.level())


def _ratio(rows: pl.DataFrame, first: list[NDArray[np.bool_]], words: str, n: int) -> DeviceEffect:
    """The first column's effect on the log scale, as a ratio."""
    columns = [one.astype(np.float64) for one in first] + [np.ones(rows.height)]
    for name in _MIX:
        levels = rows[name].fill_null("unknown").to_numpy()
        columns += [(levels == level).astype(np.float64) for level in sorted(set(levels))[1:]]
    fitted = fit_least_squares(np.column_stack(columns), np.log(rows["stiffness_kpa"].to_numpy()))
    low, high = fitted.interval(0)
    ratio = float(np.exp(fitted.coefficients[0]))
    return DeviceEffect(words, n, rows.height - n, ratio, float(np.exp(low)), float(np.exp(high)))
