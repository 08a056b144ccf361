"""Monthly counts + measures → value, interval and n of every unit and month."""

import math
from collections.abc import Sequence

import polars as pl

from qa.model.definitions import Measure
from qa.model.schemas import COUNT_COLUMNS, MEASURE_VALUES, ROW_COUNT_COLUMNS
from qa.model.words import UnitKind
from qa.stats.intervals import wilson_interval

NETWORK_UNIT_ID = "network"
_ROW_COUNTS = frozenset(column.name for column in ROW_COUNT_COLUMNS)
_ALL_COUNTS = {column.name for column in (*COUNT_COLUMNS, *ROW_COUNT_COLUMNS)}


def is_of_rows(measure: Measure) -> bool:
    """The measure counts rows of files (ROW_COUNTS) and not exams (MONTHLY_COUNTS)."""
    return _ROW_COUNTS.issuperset(measure.denominator)


def counted_noun(measure: Measure) -> str:
    """What the denominator counts, one of them: "exam" or "row"."""
    return "row" if is_of_rows(measure) else "exam"


def measure_values(
    counts: pl.DataFrame,
    *,
    measures: Sequence[Measure],
    unit_kind: str,
    home_sites: dict[str, str],
) -> pl.DataFrame:
    """Work out every measure for one kind of unit, month by month.

    Args:
        counts: MONTHLY_COUNTS or ROW_COUNTS; rows of several parts may be concatenated.
        measures: the measures wanted; numerator and denominator are sums of count columns. Those
            of columns that the counts do not have are left out.
        unit_kind: network, site, operator or device.
        home_sites: operator or device id → site id; a unit not listed gets no site.
    Returns: MEASURE_VALUES sorted by its key: one row per unit, measure, criteria set and
        month with exams. value, lower and upper are null where the denominator is 0.
    Method: share with its Wilson 95 % interval. Figures of different criteria sets are never
        added up.
    """
    unit_id, site_id = _unit_columns(unit_kind, home_sites)
    names = [name for name in counts.columns if name in _ALL_COUNTS]
    sums = (
        counts.with_columns(unit_id=unit_id)
        .drop_nulls("unit_id")
        .group_by("unit_id", "criteria_id", "month")
        .agg(pl.col(names).sum())
        .filter(pl.col("n_rows" if "n_rows" in names else "n_exams") > 0)
        .with_columns(unit_kind=pl.lit(str(unit_kind)), site_id=site_id)
    )
    parts = [
        _one_measure(sums, measure)
        for measure in measures
        if {*measure.numerator, *measure.denominator} <= set(names)
    ]
    if not parts:
        return MEASURE_VALUES.empty()
    values = pl.concat(parts).sort(MEASURE_VALUES.key)
    return MEASURE_VALUES.conform(with_interval(values))


def _unit_columns(unit_kind: str, home_sites: dict[str, str]) -> tuple[pl.Expr, pl.Expr]:
    if unit_kind == UnitKind.NETWORK:
        return pl.lit(NETWORK_UNIT_ID), pl.lit(None, dtype=pl.String)
    if unit_kind == UnitKind.SITE:
        return pl.col("site_id"), pl.col("unit_id")
    home = pl.col("unit_id").replace_strict(home_sites, default=None, return_dtype=pl.String)
    return pl.col(f"{unit_kind}_id"), home


def _one_measure(sums: pl.DataFrame, measure: Measure) -> pl.DataFrame:
    return sums.select(
        "unit_kind",
        "unit_id",
        "site_id",
        pl.lit(measure.id).alias("measure_id"),
        "criteria_id",
        "month",
        pl.sum_horizontal(measure.numerator).alias("n_events"),
        pl.sum_horizontal(measure.denominator).alias("n"),
    )


def with_interval(values: pl.DataFrame) -> pl.DataFrame:
    """Adds value, lower and upper (Wilson, 95 %) to n_events and n; null where n is 0."""
    lower, upper = wilson_interval(values["n_events"].to_numpy(), values["n"].to_numpy())
    return values.with_columns(
        value=pl.when(pl.col("n") > 0).then(pl.col("n_events") / pl.col("n")),
        lower=pl.Series(lower, dtype=pl.Float64).fill_nan(None),
        upper=pl.Series(upper, dtype=pl.Float64).fill_nan(None),
    )


def leave_out_untold(
    values: pl.DataFrame, *, measures: Sequence[Measure], window_days: int
) -> pl.DataFrame:
    """Leave out months in which a repeat could not be told, because nothing is known before them.

    A repeat is known by the patient's exam before it. In a site's first months that exam lies
    before its first export, so that hardly any repeat is counted; as a baseline these months
    would make every later one look bad.

    Args:
        values: MEASURE_VALUES.
        measures: those that count repeats look back; values of others stay as they are.
        window_days: how far a repeat looks back.
    Returns: the values without those of the first months of each site (operators and devices: of
        their home site; the network: of its first site) that begin within the window.
    """
    looking_back = [one.id for one in measures if "n_repeats" in one.numerator]
    n_months = math.ceil(window_days / 31)
    first = pl.coalesce(
        pl.when(pl.col("site_id").is_not_null()).then(pl.col("month").min().over("site_id")),
        pl.col("month").min(),
    )
    is_told = pl.col("month") >= first.dt.offset_by(f"{n_months}mo")
    return values.filter(~pl.col("measure_id").is_in(looking_back) | is_told)


def add_months_up(values: pl.DataFrame) -> pl.DataFrame:
    """MEASURE_VALUES of several months → one row per unit and measure, with its interval.

    Returns: the key without criteria set and month, n_events, n, value, lower, upper, and newest,
        the last month with exams. Criteria sets are added up: for an overview, not for a verdict.
    """
    key = ["unit_kind", "unit_id", "measure_id"]
    sums = (
        values.filter(pl.col("n") > 0)
        .group_by(key)
        .agg(pl.col("n_events", "n").sum(), newest=pl.col("month").max())
    )
    return with_interval(sums).sort(key)
