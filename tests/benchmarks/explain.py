"""`elastoqa explain` and the data of its screen on a published network of 1,000,000 exams.

Two invented networks of two years each: 200 sites (a region), and 12 sites, so that one site holds
over 80,000 exams. In both a device of the site that is asked reads 15 % high in the last months.
Exams are drawn and judged (seed stated) and published with the model of their patients; reading
exports is measured elsewhere. Times are wall seconds: of the command in a fresh process, the median
of five, and of the screen's data in this process, the better of five.

Baseline: the same question asked of the raw exams in DuckDB, in the same file: the shares before
and after by operator, device, probe and technique, and 200 bootstrap draws of the change by
operator and device (Poisson weights from a hash). It weighs no explanation and knows no patients.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import duckdb
import numpy as np
import polars as pl

from qa.assess import assess_exams
from qa.case_mix.cells import count_case_mix
from qa.case_mix.model import fit_model
from qa.model.schemas import ASSESSMENTS, EXAMS
from qa.stores.definitions import load_definitions, read_definition_texts
from qa.stores.publishing import publish_snapshot
from qa.stores.snapshots import PUBLISHED_SCHEMAS, open_current
from qa.views.explain import explain_view
from tests.benchmarks import BenchmarkFigure
from tests.exam_tables import DEFAULTS, criteria_in_force, tables_in_force
from tests.integrity_networks import CRITERIA, FIRST_DAY, Shape, honest_exams

SEED, ROUNDS, GOAL_SECONDS = 20611, 5, 2.0
SHAPES = {
    "200_sites": Shape(n_sites=200, n_operators=5, exams=42, months=24),
    "12_sites": Shape(n_sites=12, n_operators=20, exams=174, months=24),
}
TABLE, SITE, MONTH, SINCE = (
    "stage_castera2005_hcv.v1",
    "site-1",
    date(2026, 11, 1),
    date(2026, 3, 1),
)
AT = datetime(2027, 1, 4, 7, tzinfo=UTC)

BOOTSTRAP = """
with own as (
    select exam_key, operator_id, device_id, month >= $since as is_after,
        stiffness_band > 0 as raised
    from exams
    where site_id = $site and criteria_id = $criteria and stiffness_band is not null
), draws as (
    select draw, operator_id, device_id, is_after, raised,
        case when u < 0.3679 then 0 when u < 0.7358 then 1 when u < 0.9197 then 2
             when u < 0.9810 then 3 when u < 0.9963 then 4 else 5 end as times
    from (select *, (hash(exam_key, draw) % 1000003) / 1000003.0 as u
          from own, (select unnest(range(200)) as draw))
)
select draw, operator_id, device_id, is_after, sum(times) as n, sum(times * raised::int) as events
from draws group by all
"""
SHARES = """
select {column}, month >= $since as is_after, count(*) as n,
    sum((stiffness_band > 0)::int) as events
from exams where site_id = $site and criteria_id = $criteria and stiffness_band is not null
group by all
"""


def run() -> list[BenchmarkFigure]:
    return [figure for name, shape in SHAPES.items() for figure in _figures(name, shape)]


def _figures(name: str, shape: Shape) -> list[BenchmarkFigure]:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        n, n_site = publish_network(folder, shape)
        command = [_command(folder) for _ in range(ROUNDS)]
        snapshot = open_current(folder)
        measure = snapshot.definitions.measure_by_key("stiffness_raised").id

        def ours() -> None:
            view = explain_view(snapshot, site_id=SITE, measure_id=measure, month=MONTH)
            assert "not its operators" in view.answer, view.answer

        file = next((folder / "snapshots").glob("S*.duckdb"))
        with duckdb.connect(str(file), read_only=True) as raw:
            seconds = [(_timed(ours), _timed(lambda: _ask(raw))) for _ in range(ROUNDS)]
        snapshot.close()
    mine, theirs = (min(one) for one in zip(*seconds, strict=True))
    about = f"{n:,} exams, {n_site:,} of them at the site"
    return [
        BenchmarkFigure(
            f"explain_command_seconds_{name}",
            statistics.median(command),
            GOAL_SECONDS,
            f"{about}; fresh processes {', '.join(f'{one:.2f}' for one in sorted(command))} s",
        ),
        BenchmarkFigure(f"explain_screen_seconds_{name}", mine, GOAL_SECONDS, about),
        BenchmarkFigure(
            f"explain_over_raw_exams_in_duckdb_{name}",
            mine / theirs,
            2.0,
            f"shares and 200 bootstrap draws in DuckDB {duckdb.__version__}: {theirs:.2f} s",
        ),
    ]


def _timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _command(folder: Path) -> float:
    words = [
        "explain",
        "--site",
        SITE,
        "--measure",
        "stiffness_raised",
        "--month",
        f"{MONTH:%Y-%m}",
    ]
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "qa", *words, "--network", str(folder)],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
    )
    seconds = time.perf_counter() - start
    if done.returncode or "not its operators" not in done.stdout:
        raise RuntimeError(f"explain: {done.stdout[:300]} {done.stderr[-2000:]}")
    return seconds


def _ask(raw: duckdb.DuckDBPyConnection) -> None:
    asked = {"since": SINCE, "site": SITE, "criteria": CRITERIA}
    for column in ("operator_id", "device_id", "probe", "technique"):
        raw.sql(SHARES.format(column=column), params=asked).fetchall()
    draws = raw.sql(BOOTSTRAP, params=asked).pl()
    events, n = pl.col("events").sum(), pl.col("n").sum()
    shares = draws.group_by("draw", "operator_id", "device_id", "is_after").agg(share=events / n)
    shares.group_by("operator_id", "device_id", "is_after").agg(
        lower=pl.col("share").quantile(0.025), upper=pl.col("share").quantile(0.975)
    )


def publish_network(folder: Path, shape: Shape) -> tuple[int, int]:
    """A snapshot of a network of that shape. Returns: its exams, and those of the site asked."""
    exams = _exams(shape)
    texts = read_definition_texts()
    definitions = load_definitions()
    measure = definitions.measure_by_key("stiffness_raised")
    adjustment = definitions.adjustment_of(measure.id)
    assert adjustment is not None
    first = exams["month"].min()
    assert isinstance(first, date)
    model = fit_model(
        count_case_mix(exams.select(EXAMS.names), exams.select(ASSESSMENTS.names)),
        measure=measure,
        adjustment=adjustment,
        criteria_id=CRITERIA,
        period=(first, date(first.year, 12, 1)),
        in_force_from=first,
        version_no=1,
        set_at=AT,
        set_by="benchmark",
        reason="benchmark",
    )
    assert model is not None
    frames = {name: schema.empty() for name, schema in PUBLISHED_SCHEMAS.items()} | {
        "exams": exams,
        "risk_models": model.model,
        "risk_coefficients": model.coefficients,
        "chart_points": _months(exams),
    }
    publish_snapshot(
        folder / "snapshots",
        frames=frames,
        network_text=_network_text(exams),
        definition_texts=texts,
        published_at=AT,
        software_version="benchmark",
    )
    (folder / "network.toml").write_text(_network_text(exams), encoding="utf-8")
    return exams.height, exams.filter(pl.col("site_id") == SITE).height


def _exams(shape: Shape) -> pl.DataFrame:
    """The published frame `exams`: two devices a site, patients with weight, age and cause."""
    rng = np.random.default_rng(SEED)
    plain = honest_exams(rng, shape).drop("measurements")
    n = plain.height
    second, is_large = pl.Series(rng.random(n) < 0.5), pl.Series(rng.random(n) < 0.25)
    in_month = (pl.col("exam_on") - pl.lit(FIRST_DAY)).dt.total_days() // 30
    month = pl.lit(FIRST_DAY).dt.offset_by(pl.format("{}mo", in_month))
    exams = plain.with_columns(
        device_id=pl.format("{}-{}", pl.col("site_id").str.replace("site", "dev"), second),
        probe=pl.when(is_large).then(pl.lit("large-patient")).otherwise(pl.lit("standard")),
        bmi_kg_m2=pl.Series(np.round(rng.normal(28, 5, n).clip(16, 58), 1)),
        age_years=pl.Series(rng.integers(20, 85, n)).cast(pl.Int32),
        sex=pl.Series(rng.choice(["female", "male"], n)),
        indication=pl.Series(rng.choice(["fatty liver", "viral", "alcohol", "other"], n)),
        month=month,
    )
    is_high = (pl.col("device_id") == f"{SITE.replace('site', 'dev')}-true") & (month >= SINCE)
    factor = pl.when(is_high).then(1.15).otherwise(1.0)
    biased = (pl.col("stiffness_value", "stiffness_kpa", "stiffness_iqr") * factor).round(1)
    exams = EXAMS.conform(exams.with_columns(biased, measurements=None))
    verdicts = assess_exams(
        exams,
        criteria=criteria_in_force(CRITERIA),
        grade_tables=tables_in_force(TABLE),
        settings=DEFAULTS,
        horizon_on=exams["exam_on"].max(),
    )
    return exams.join(verdicts, on=["exam_key", "version_no"])


def _months(exams: pl.DataFrame) -> pl.DataFrame:
    """CHART_POINTS that say only which months are published."""
    schema = PUBLISHED_SCHEMAS["chart_points"]
    blank = {pl.String: "", pl.Boolean: False}
    filled = {
        column.name: pl.lit([], dtype=column.dtype)
        if isinstance(column.dtype, pl.List)
        else pl.lit(None if column.is_nullable else blank.get(column.dtype, 0))
        for column in schema.columns
        if column.name not in ("month", "unit_kind")
    }
    months = exams.select("month").unique().with_columns(unit_kind=pl.lit("network"))
    return schema.conform(months.with_columns(**filled))


def _network_text(exams: pl.DataFrame) -> str:
    lines = [
        'id = "benchmark"\nname = "Benchmark network (invented)"\nis_invented = true\n\n'
        f'[[criteria]]\nid = "{CRITERIA}"\nfrom = {FIRST_DAY}\n\n[[grade_tables]]\nid = "{TABLE}"\n'
        f'from = {FIRST_DAY}\nquantity = "stiffness"\ntechniques = ["TE"]\n'
    ]
    for site in exams["site_id"].unique().sort():
        lines.append(
            f'[[sites]]\nid = "{site}"\nname = "{site.title()}"\ntime_zone = "Europe/London"\n'
            'profile = "harbour"\n'
        )
    for kind, extra in (("operator", ""), ("device", 'techniques = ["TE"]\n')):
        for one, site in exams.select(f"{kind}_id", "site_id").unique().sort("site_id").iter_rows():
            lines.append(f'[[{kind}s]]\nid = "{one}"\nsite = "{site}"\ncode = "{one}"\n{extra}')
    return "\n".join(lines)
