"""Control charts: monthly shares against the limits of a frozen baseline."""

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa.charts.baseline import PART_KEY, judging_baselines
from qa.charts.budget import false_rates
from qa.charts.equipment import add_equipment
from qa.charts.hits import LOOK_BITS, WATCH_BITS, find_hits, rule_lists
from qa.charts.patients import follow_patients
from qa.charts.series import charted_values, in_series_order
from qa.charts.weights import BORROWERS, baseline_weights
from qa.model.definitions import Measure, Settings
from qa.model.schemas import CHART_POINTS
from qa.model.words import Phase, PointState, UnitKind
from qa.stats.estimation import estimation_factor, one_sided_tail
from qa.stats.limits import binomial_limits, p_chart_limits

THREE_SIGMA = "three sigma"
EXACT = "exact binomial"
NO_LIMITS = "none"

# More days than any date has, so that a group and a day make one number.
_DAYS = 10_000_000

# Expected exams of either kind from which three sigma limits are close enough.
MIN_EXPECTED = 5


def chart_points(
    values: pl.DataFrame,
    *,
    baselines: pl.DataFrame,
    measures: Sequence[Measure],
    settings: Settings,
    changes: pl.DataFrame | None = None,
    mix: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Chart every series: centre line, limits, broken rules and state of each month.

    Args:
        values: MEASURE_VALUES of all units.
        baselines: BASELINES frozen so far; read, never worked out anew.
        measures: the measures in use; others are not charted.
        settings: min_exams_shown: below it no point gets a verdict, whatever the measure says;
            false_items_per_month: the budget that the levels of RUL-006 and RUL-007 follow.
        changes: equipment_changes; measures that depend on devices break there.
        mix: baseline_id, model_id, share: what the models expect of the baselines' exams; None:
            nothing is adjusted. Values then carry expected and model_id.
    Returns: CHART_POINTS, one row per charted value, sorted by its key. Limits are null where
        there is no baseline or no exam.
    Method: months up to the end of the own baseline are phase "baseline", later ones
        "monitoring"; a baseline that a person set is drawn from its own first month on. An
        operator or device without an own baseline is watched against the network's; months
        judged that way stay so when the own baseline comes. Limits: `limit_sigmas` (three)
        sigma where n · centre and n · (1 - centre) are 5 or more, else exact binomial; after
        the baseline wider by √(1 + n / its exams), because it is an estimate. Rules
        (qa/charts/rules.py) are asked in monitoring only and never across criteria sets or
        baselines. Where a month's patients are not like those of the baseline, centre, limits and
        evidence follow what the model expects of them (qa/charts/patients.py).
        State: look by RUL-006 or RUL-007, whose levels follow the network's false-alarm
        budget; watch by the others; few where exams are below the measure's min_n or there is
        no baseline yet; else steady.
    Weak when: patients change in ways that no covariate tells.
    """
    charted = add_equipment(charted_values(values, measures), changes, measures=measures)
    in_force = add_equipment(
        judging_baselines(baselines), changes, measures=measures, month="from_month"
    )
    points = _attach_baselines(in_series_order(charted), in_force)
    points = _add_limits(follow_patients(points, mix), settings)
    return CHART_POINTS.conform(_add_rules(points, settings))


def _attach_baselines(values: pl.DataFrame, baselines: pl.DataFrame) -> pl.DataFrame:
    """Choose for each point the baseline that judges it; null columns where there is none."""
    chosen = baselines.sort("judges_from", "set_at").with_row_index("baseline_no")
    own = chosen.select(*PART_KEY, pl.col("judges_from").alias("own_on"), "baseline_no")
    network = chosen.filter(pl.col("unit_kind") == UnitKind.NETWORK).select(
        "measure_id", "criteria_id", pl.col("judges_from").alias("net_on"), "baseline_no"
    )
    borrows = pl.col("unit_kind").is_in([str(kind) for kind in BORROWERS])
    runs = values.select(pl.struct("series_no", "equipment_from").rle_id()).to_series().to_numpy()
    heads = values[np.flatnonzero(np.diff(runs, prepend=-1))]
    days = values["month"].to_physical().to_numpy().astype(np.int64)
    found = values.with_columns(
        *_find_baselines(own, "own", PART_KEY, heads=heads, runs=runs, days=days),
        *_find_baselines(
            network, "net", ("measure_id", "criteria_id"), heads=heads, runs=runs, days=days
        ),
    )
    is_own_watch = pl.col("own_watch").is_not_null()
    is_net_watch = borrows & pl.col("net_watch").is_not_null()
    number = (
        pl.when(is_own_watch)
        .then("own_watch")
        .when(is_net_watch)
        .then("net_watch")
        .when(pl.col("own_first").is_not_null())
        .then("own_first")
        .when(borrows)
        .then("net_first")
    )
    is_own = is_own_watch | (~is_net_watch & pl.col("own_first").is_not_null())
    found = found.with_columns(
        baseline_no=number,
        baseline_from=pl.when(is_own)
        .then(pl.lit("own"))
        .when(number.is_not_null())
        .then(pl.lit("network"))
        .otherwise(pl.lit("none")),
        is_watched_now=is_own_watch | is_net_watch,
    )
    weights = baseline_weights(chosen)
    is_over = pl.col("is_watched_now") & (pl.col("month") > pl.col("base_to"))
    return (
        found.with_columns(
            chosen[column].gather(found["baseline_no"]).alias(name) for name, column in _FACTS
        )
        .join(weights, on=["baseline_no", "unit_kind"], how="left", maintain_order="left")
        .with_columns(
            phase=pl.when(is_over)
            .then(pl.lit(str(Phase.MONITORING)))
            .otherwise(pl.lit(str(Phase.BASELINE)))
        )
    )


_FACTS = (
    ("baseline_id", "baseline_id"),
    ("centre", "centre"),
    ("base_n", "n"),
    ("base_to", "to_month"),
)


def _find_baselines(
    baselines: pl.DataFrame,
    name: str,
    key: Sequence[str],
    *,
    heads: pl.DataFrame,
    runs: NDArray[np.int64],
    days: NDArray[np.int64],
) -> tuple[pl.Series, ...]:
    """Columns <name>_watch, the newest baseline that judges the month, and <name>_first.

    Args:
        heads: the first row of each run of rows with the same key.
        runs, days: of each row, the number of its run and its month as a day.
    """
    groups = heads.select(pl.struct(key).rank("dense")).to_series().to_numpy().astype(np.int64)
    table = heads.select(key).with_columns(group=pl.Series(groups, dtype=pl.Int64)).unique()
    known = baselines.join(table, on=key, how="inner", nulls_equal=True).sort(
        "group", f"{name}_on", "baseline_no"
    )
    group = np.append(known["group"].to_numpy(), -1)
    number = np.append(known["baseline_no"].to_numpy().astype(np.int64), -1)
    since = known[f"{name}_on"].to_physical().to_numpy().astype(np.int64)
    asked = groups[runs]
    newest = np.searchsorted(group[:-1] * _DAYS + since, asked * _DAYS + days, side="right") - 1
    first = np.searchsorted(group[:-1], asked)
    watch = np.where(group[newest] == asked, number[newest], -1)
    earliest = np.where(group[first] == asked, number[first], -1)
    return tuple(
        pl.Series(f"{name}_{what}", found).replace(-1, None)
        for what, found in (("watch", watch), ("first", earliest))
    )


def _add_limits(points: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    centre = points["centre"].to_numpy()
    n = points["n"].to_numpy()
    sigmas = settings.limit_sigmas
    is_exact = (n * centre < MIN_EXPECTED) | (n * (1 - centre) < MIN_EXPECTED)
    lcl, ucl = p_chart_limits(centre, n, sigmas=sigmas)
    lcl[is_exact], ucl[is_exact] = _exact_limits(
        points.select("centre", "n").filter(is_exact), sigmas
    )
    is_later = (points["phase"] == Phase.MONITORING).to_numpy()
    known = np.where(is_later, points["base_n"].to_numpy().astype(np.float64), np.inf)
    factor = estimation_factor(n, known)
    lcl = np.clip(centre - factor * (centre - lcl), 0.0, 1.0)
    ucl = np.clip(centre + factor * (ucl - centre), 0.0, 1.0)
    methods = pl.Series([THREE_SIGMA, EXACT, NO_LIMITS])
    method = np.where(np.isfinite(ucl), is_exact.astype(np.int64), 2)
    return points.with_columns(
        pl.Series("lcl", lcl).fill_nan(None),
        pl.Series("ucl", ucl).fill_nan(None),
        methods.gather(method).alias("limit_method"),
    )


def _exact_limits(
    points: pl.DataFrame, sigmas: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Exact limits, searched once for each centre and n."""
    known = points.select("centre", "n").with_row_index("row")
    once = known.group_by("centre", "n", maintain_order=True).agg(pl.col("row").first())
    lcl, ucl = binomial_limits(
        once["centre"].to_numpy(), once["n"].to_numpy(), tail=one_sided_tail(sigmas)
    )
    found = once.with_columns(pl.Series("lcl", lcl), pl.Series("ucl", ucl))
    back = known.join(
        found.drop("row"), on=["centre", "n"], how="left", maintain_order="left", nulls_equal=True
    )
    return back["lcl"].to_numpy(), back["ucl"].to_numpy()


# What the rules look at; millions of rows need not carry the rest.
_ASKED = (
    *("month", "series_no", "baseline_no", "better", "is_watched"),
    *("n_events", "n", "centre", "lcl", "ucl", "event_weight", "other_weight"),
)


def _add_rules(points: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    is_watched = ((points["phase"] == Phase.MONITORING) & (points["n"] > 0)).to_numpy()
    watched = points.select(_ASKED).filter(is_watched)
    hits = find_hits(watched, false_rates(watched, settings))
    bits = np.zeros(points.height, dtype=np.int64)
    evidence, limit = np.full(points.height, np.nan), np.full(points.height, np.nan)
    n_months = np.zeros(points.height, dtype=np.int64)
    bits[is_watched], n_months[is_watched] = hits.bits, hits.n_months
    evidence[is_watched], limit[is_watched] = hits.evidence, hits.limit
    fewest = pl.max_horizontal("min_n", pl.lit(settings.min_exams_shown))
    is_few = (pl.col("n") < fewest) | pl.col("centre").is_null()
    return points.with_columns(
        pl.lit("p").alias("chart_kind"),
        pl.Series("bits", bits),
        pl.Series("evidence", evidence).fill_nan(None),
        pl.Series("evidence_limit", limit).fill_nan(None),
        pl.Series("evidence_months", n_months),
        rule_lists(bits).alias("rules"),
    ).with_columns(
        state=pl.when(pl.col("bits") & LOOK_BITS > 0)
        .then(pl.lit(str(PointState.LOOK)))
        .when(pl.col("bits") & WATCH_BITS > 0)
        .then(pl.lit(str(PointState.WATCH)))
        .when(is_few)
        .then(pl.lit(str(PointState.FEW)))
        .otherwise(pl.lit(str(PointState.STEADY)))
    )
