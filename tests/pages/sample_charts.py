"""Chart frames of the sample network, by plain rules written out here.

Limits are plain three-sigma ones, good enough to draw; the product's own limits are tested
elsewhere, and nothing here is an expected value of theirs.
"""

import polars as pl

from qa.measures import is_of_rows
from qa.model.definitions import Measure
from qa.model.months import add_months
from qa.model.schemas import BASELINES, CHART_POINTS, FUNNEL_POINTS, SIGNALS
from tests.pages.sample_counts import DRIFT_FROM, FIRST, LAST, PUBLISHED_AT


def _wilson(x: pl.Expr, n: pl.Expr, sign: int) -> pl.Expr:
    """Ends of a Wilson 95 % interval, written out (Wilson 1927)."""
    z = 1.959964
    p = x / n
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * (p * (1 - p) / n + z * z / (4 * n * n)).sqrt()
    return (middle + sign * half).clip(0.0, 1.0)


def with_rows(counts: pl.DataFrame) -> pl.DataFrame:
    """Counts of rows beside those of exams: as many rows as exams, some waiting."""
    return counts.with_columns(n_rows=pl.col("n_exams"), n_rows_quarantined=pl.col("n_incomplete"))


def sample_values(counts: pl.DataFrame, measures: list[Measure]) -> pl.DataFrame:
    kinds = {
        "network": (pl.lit("network"), pl.lit(None, dtype=pl.String)),
        "site": (pl.col("site_id"), pl.col("site_id")),
        "operator": (pl.col("operator_id"), pl.col("site_id")),
    }
    parts = []
    counts = with_rows(counts)
    for kind, (unit, site) in kinds.items():
        for measure in (one for one in measures if kind in one.units or not is_of_rows(one)):
            parts.append(
                counts.select(
                    unit.alias("unit_id"),
                    site.alias("home"),
                    "criteria_id",
                    "month",
                    n_events=pl.sum_horizontal(measure.numerator),
                    n=pl.sum_horizontal(measure.denominator),
                )
                .group_by("unit_id", "home", "criteria_id", "month")
                .sum()
                .rename({"home": "site_id"})
                .with_columns(unit_kind=pl.lit(kind), measure_id=pl.lit(measure.id))
            )
    x, n = pl.col("n_events"), pl.col("n")
    return pl.concat(parts).with_columns(
        value=pl.when(n > 0).then(x / n),
        lower=pl.when(n > 0).then(_wilson(x, n, -1)),
        upper=pl.when(n > 0).then(_wilson(x, n, 1)),
    )


def sample_points(values: pl.DataFrame, measures: dict[str, Measure]) -> tuple[pl.DataFrame, ...]:
    """(CHART_POINTS, BASELINES): the first twelve months are the baseline."""
    unit = ["unit_kind", "unit_id", "site_id", "measure_id"]
    baseline_end = add_months(FIRST, 11)
    is_baseline = pl.col("month") <= baseline_end
    baselines = (
        values.filter(is_baseline)
        .group_by(unit)
        .agg(pl.col("n_events").sum(), pl.col("n").sum())
        .filter(pl.col("n") > 0)
        .with_columns(
            baseline_id=pl.concat_str("unit_kind", "unit_id", "measure_id", separator="."),
            criteria_id=pl.lit("common-practice.v1"),
            from_month=pl.lit(FIRST),
            to_month=pl.lit(baseline_end),
            n_months=pl.lit(12),
            centre=pl.col("n_events") / pl.col("n"),
            set_by=pl.lit("sample"),
            reason=pl.lit("first twelve months"),
            set_at=pl.lit(PUBLISHED_AT),
        )
    )
    variance = pl.col("centre") * (1 - pl.col("centre")) / pl.col("n")
    sigma = pl.when(pl.col("n") > 0).then(variance.sqrt())
    better = {key: measure.better for key, measure in measures.items()}
    points = values.join(
        baselines.select("unit_kind", "unit_id", "measure_id", "baseline_id", "centre"),
        on=["unit_kind", "unit_id", "measure_id"],
        how="left",
    ).with_columns(
        lcl=(pl.col("centre") - 3 * sigma).clip(0.0, 1.0),
        ucl=(pl.col("centre") + 3 * sigma).clip(0.0, 1.0),
        better=pl.col("measure_id").replace_strict(better),
        phase=pl.when(is_baseline).then(pl.lit("baseline")).otherwise(pl.lit("monitoring")),
        chart_kind=pl.lit("p"),
        baseline_from=pl.when(pl.col("baseline_id").is_null())
        .then(pl.lit("none"))
        .otherwise(pl.lit("own")),
        limit_method=pl.lit("three sigma"),
    )
    high = pl.col("value") > pl.col("ucl")
    low = pl.col("value") < pl.col("lcl")
    is_out = (high & (pl.col("better") != "higher")) | (low & (pl.col("better") != "lower"))
    is_near = (pl.col("value") - pl.col("centre")).abs() > 2 * sigma
    points = points.with_columns(
        rules=pl.when(is_out)
        .then(pl.lit(["RUL-001"]))
        .otherwise(pl.lit([], dtype=pl.List(pl.String))),
        state=pl.when(is_out & ~is_baseline)
        .then(pl.lit("look"))
        .when(pl.col("n") < 10)
        .then(pl.lit("few"))
        .when(is_near & ~is_baseline)
        .then(pl.lit("watch"))
        .otherwise(pl.lit("steady")),
    )
    return CHART_POINTS.conform(points), BASELINES.conform(baselines)


def sample_funnel(values: pl.DataFrame) -> pl.DataFrame:
    year = values.filter(pl.col("month") > add_months(LAST, -12), pl.col("unit_kind") != "network")
    unit = ["unit_kind", "unit_id", "site_id", "measure_id"]
    sums = year.group_by(unit).agg(pl.col("n_events").sum(), pl.col("n").sum())
    pooled = pl.col("n_events").sum() / pl.col("n").sum()
    x, n = pl.col("n_events"), pl.col("n")
    rows = sums.with_columns(
        centre=pooled.over("unit_kind", "measure_id"),
        criteria_id=pl.lit("common-practice.v2"),
        from_month=pl.lit(add_months(LAST, -11)),
        to_month=pl.lit(LAST),
        value=x / n,
        lower=_wilson(x, n, -1),
        upper=_wilson(x, n, 1),
    )
    sigma = (pl.col("centre") * (1 - pl.col("centre")) / n).sqrt()
    rows = rows.with_columns(
        **{
            f"{side}{name}": (pl.col("centre") + sign * z * sigma).clip(0.0, 1.0)
            for name, z in (("95", 1.96), ("998", 3.09))
            for side, sign in (("lcl", -1), ("ucl", 1))
        }
    )
    state = (
        pl.when(pl.col("value") > pl.col("ucl998"))
        .then(pl.lit("look"))
        .when(pl.col("value") > pl.col("ucl95"))
        .then(pl.lit("watch"))
        .otherwise(pl.lit("steady"))
    )
    return FUNNEL_POINTS.conform(rows.with_columns(state=state))


def sample_signals(values: pl.DataFrame) -> pl.DataFrame:
    """Two signals written by hand: operator 31's drift and, explained by it, its site's."""
    drift = values.filter(
        pl.col("unit_kind") == "operator",
        pl.col("unit_id") == "31",
        pl.col("measure_id") == "MSR-001",
        pl.col("month") >= DRIFT_FROM,
    )
    events, n = int(drift["n_events"].sum()), int(drift["n"].sum())
    own = {
        "signal_id": "SIG-31",
        "unit_kind": "operator",
        "unit_id": "31",
        "site_id": "S3",
        "measure_id": "MSR-001",
        "criteria_id": "common-practice.v2",
        "month": LAST,
        "since_month": DRIFT_FROM,
        "since_first": add_months(DRIFT_FROM, -1),
        "since_last": DRIFT_FROM,
        "last_seen_month": LAST,
        "item_id": "2026-07.operator.31.MSR-001.common-practice.v2.higher",
        "opened_month": DRIFT_FROM,
        "rules": ["RUL-001"],
        "direction": "higher",
        "n_events": events,
        "n": n,
        "value": events / n,
        "centre": 0.05,
        "expected": 0.05 * n,
        "at_stake": events - 0.05 * n,
        "at_stake_lower": (events - 0.05 * n) * 0.6,
        "at_stake_upper": (events - 0.05 * n) * 1.5,
        "rank": 1,
        "explained_by": None,
        "finding": f"Operator 31 (Eider Point): unreliable exams rose from 5.0 to "
        f"{100 * events / n:.1f} % since July 2026",
        "evidence": "Four months in a row above the limit.",
        "how_sure": "Sure: chance alone shows as much about once in 3 years over all charts.",
        "probably_not": "The other 3 operators of the site stayed at 4.9 % (5.0 % before), which "
        "speaks against room, device and patients.",
        "suggestion": "Look at steadiness and breath hold.",
    }
    site = own | {
        "signal_id": "SIG-S3",
        "unit_kind": "site",
        "unit_id": "S3",
        "rank": 0,
        "explained_by": "SIG-31",
        "finding": "Eider Point: unreliable exams rose since July 2026",
    }
    schema = SIGNALS.to_polars()
    return SIGNALS.conform(pl.DataFrame([own, site], schema=schema))
