"""A screen's data against the same questions asked of raw exams in DuckDB; for `screens`."""

from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import duckdb
import numpy as np
import polars as pl

from qa.charts.compare import funnel_points
from qa.model.definitions import Measure
from qa.model.months import add_months
from qa.model.schemas import MEASURE_VALUES, MONTHLY_COUNTS
from qa.stores.definitions import load_definitions, read_definition_texts
from qa.stores.publishing import publish_snapshot
from qa.stores.snapshots import PUBLISHED_SCHEMAS, Snapshot, open_current
from tests.benchmarks import BenchmarkFigure
from tests.benchmarks._screen_cpu import REPORTED, alternated
from tests.followup.notes import NETWORK_TEXT
from tests.pages.sample_charts import sample_values
from tests.simulated import draw_charts

SEED = 20274
N_EXAMS, N_SITES, N_OPERATORS, N_MONTHS = 1_000_000, 200, 1_000, 36
FIRST = date(2023, 11, 1)
LAST = add_months(FIRST, N_MONTHS - 1)
ONE_GOAL, NETWORK_GOAL = 1 / 5, 1 / 20
MEASURE = "unreliable"
_UNITS = (("s", "site"), ("o", "operator"))


def simulated_exams() -> pl.DataFrame:
    """One row per exam, by month and site; what the measures below are made of."""
    rng = np.random.default_rng(SEED)
    operator = rng.integers(0, N_OPERATORS, N_EXAMS)
    outcome = rng.choice(4, N_EXAMS, p=(0.9, 0.06, 0.025, 0.015))
    month = pl.Series([add_months(FIRST, one) for one in range(N_MONTHS)])
    return pl.DataFrame(
        {
            "month": month.gather(rng.integers(0, N_MONTHS, N_EXAMS)),
            "site": operator % N_SITES,
            "operator": operator,
            "is_reliable": outcome == 0,
            "is_unreliable": outcome == 1,
            "is_incomplete": outcome == 2,
            "is_failed": outcome == 3,
            "is_repeat": rng.random(N_EXAMS) < 0.03,
        }
    ).sort("month", "site")


def count(exams: pl.DataFrame) -> pl.DataFrame:
    kinds = ("reliable", "unreliable", "incomplete", "failed")
    sums = exams.group_by("site", "operator", "month").agg(
        n=pl.len(),
        n_repeats=pl.col("is_repeat").sum(),
        **{f"n_{k}": pl.col(f"is_{k}").sum() for k in kinds},
    )
    made = sums.with_columns(
        site_id=pl.format("s-{}", "site"),
        operator_id=pl.format("o-{}", "operator"),
        device_id=pl.lit("d"),
        probe=pl.lit("standard"),
        technique=pl.lit("TE"),
        criteria_id=pl.lit("common-practice.v1"),
        n_exams="n",
        n_performed="n",
        n_judged="n",
        n_measured=pl.col("n") - pl.col("n_failed") - pl.col("n_incomplete"),
        n_met="n_reliable",
    )
    missing = [name for name in MONTHLY_COUNTS.names if name not in made.columns]
    return MONTHLY_COUNTS.conform(made.with_columns(pl.lit(0).alias(name) for name in missing))


def publish(folder: Path, exams: pl.DataFrame) -> None:
    definitions = load_definitions()
    counts = count(exams)
    measures = [one for one in definitions.measures.values() if _is_counted(one, counts)]
    values = sample_values(counts, measures)
    values = MEASURE_VALUES.conform(values).sort(MEASURE_VALUES.key)
    frames = {name: schema.empty() for name, schema in PUBLISHED_SCHEMAS.items()}
    frames |= {"monthly_counts": counts, "chart_points": draw_charts(values, measures)}
    funnels = [
        funnel_points(values, measures=measures, unit_kind=kind, to_month=LAST, months=12)
        for kind in ("site", "operator")
    ]
    publish_snapshot(
        folder / "snapshots",
        frames={**frames, "funnel_points": pl.concat(funnels)},
        network_text=NETWORK_TEXT,
        definition_texts=read_definition_texts(),
        published_at=datetime(2026, 11, 3, tzinfo=UTC),
        software_version="benchmark",
    )


def _is_counted(measure: Measure, counts: pl.DataFrame) -> bool:
    columns = (*measure.numerator, *measure.denominator)
    return all(one in counts.columns and counts[one].sum() for one in columns)


def data_figures() -> list[BenchmarkFigure]:
    with TemporaryDirectory() as place:
        exams = simulated_exams()
        publish(Path(place), exams)
        raw = duckdb.connect(str(Path(place) / "raw.duckdb"))
        raw.register("given", exams.to_arrow())
        raw.execute("create table exams as from given order by month, site")
        raw.unregister("given")
        del exams
        snapshot = open_current(Path(place))
        figures = [
            figure for one in _questions(snapshot) for figure in _one_question(snapshot, raw, *one)
        ]
        snapshot.close()
        raw.close()
    return figures


def _questions(snapshot: Snapshot) -> list[tuple[str, str, dict[str, object], str, float]]:
    measure = snapshot.definitions.measure_by_key(MEASURE).id
    sums = (
        "sum(is_unreliable::int) as n_events, "
        "count(*) filter (not is_failed and not is_incomplete) as n from exams"
    )
    year, last = f"month >= date '{add_months(LAST, -11)}'", f"month = date '{LAST}'"
    months = "group by 1 order by 1"
    sites, operators = (f"group by 1 order by '{one}-' || {name}" for one, name in _UNITS)
    points, funnel, one = "chart_points", "funnel_points", {"measure_id": measure}
    period = {**one, "to_month": LAST}
    network, site = {**one, "unit_kind": "network"}, {**one, "unit_kind": "site"}
    seventh, person = {**site, "unit_id": "s-7"}, {**one, "unit_kind": "operator", "unit_id": "o-7"}
    every_site, everybody = {**period, "unit_kind": "site"}, {**period, "unit_kind": "operator"}
    month = {**site, "month": LAST}
    by_site, by_operator = f"{sums} where {year} {sites}", f"{sums} where {year} {operators}"
    asked: list[tuple[str, str, dict[str, object], str, float]] = [
        ("network by month", points, network, f"month, {sums} {months}", NETWORK_GOAL),
        (
            "all sites, a year",
            funnel,
            every_site,
            f"site, {by_site}",
            NETWORK_GOAL,
        ),
        (
            "operators, a year",
            funnel,
            everybody,
            f"operator, {by_operator}",
            ONE_GOAL,
        ),
        ("a site by month", points, seventh, f"month, {sums} where site = 7 {months}", ONE_GOAL),
        ("an operator", points, person, f"month, {sums} where operator = 7 {months}", ONE_GOAL),
        ("all sites, a month", points, month, f"site, {sums} where {last} {sites}", ONE_GOAL),
    ]
    return [
        (name, frame, wanted, f"select {sql}", goal) for name, frame, wanted, sql, goal in asked
    ]


def _one_question(
    snapshot: Snapshot,
    raw: duckdb.DuckDBPyConnection,
    name: str,
    frame: str,
    wanted: dict[str, object],
    query: str,
    goal: float,
) -> list[BenchmarkFigure]:
    """As asked again, and as asked for the first time since the snapshot was opened."""

    def ours() -> pl.DataFrame:
        return snapshot.frame(frame, **wanted)

    def first() -> pl.DataFrame:
        return snapshot._read(frame, wanted)

    def theirs() -> pl.DataFrame:
        return raw.cursor().sql(query).pl()

    same = ["n_events", "n"]
    told = theirs().select(same).cast(pl.Int64)
    assert told.height
    assert ours().select(same).cast(pl.Int64).equals(told), name
    mine, once, bare = alternated(ours, first, theirs)
    said = f"DuckDB on {N_EXAMS:,} raw exams: {bare * 1000:.1f} ms of CPU, the same answer"
    return [
        BenchmarkFigure(f"data_over_raw {name}", mine / bare, goal, said),
        BenchmarkFigure(f"first_reading_over_raw {name}", once / bare, REPORTED, said),
    ]
