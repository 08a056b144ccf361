"""The fit of expected shares on 1,000,000 exams: counts by kind and our fit against rows.

Baseline: statsmodels GLM (binomial) on one row for each exam. Both start from the same levels;
ours counts them into cells first. Times are processor seconds of this process, the better of two
rounds taken in turn; data are simulated, seed stated.
"""

import time
from collections.abc import Callable
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import statsmodels.api as sm

from qa.case_mix.bands import LEVELS
from qa.case_mix.model import FittedModel, fit_model
from qa.model.case_mix_schemas import CASE_MIX_COLUMNS, CASE_MIX_COUNTS
from qa.stores.definitions import load_definitions
from tests.benchmarks import BenchmarkFigure

SEED, N_EXAMS, ROUNDS = 20286, 1_000_000, 2
MONTH, CRITERIA = date(2026, 1, 1), "common-practice.v1"
INDICATIONS = ("fatty liver", "viral", "alcohol", "other", "unknown")
ADJUSTED = ("bmi", "age", "sex", "technique", "indication", "occasion")


def run() -> list[BenchmarkFigure]:
    exams = make_exams()
    definitions = load_definitions()
    measure = definitions.measure_by_key("unreliable")
    adjustment = definitions.adjustment_of(measure.id)
    assert adjustment is not None
    assert adjustment.covariates == ADJUSTED

    def ours() -> FittedModel:
        found = fit_model(
            count(exams),
            measure=measure,
            adjustment=adjustment,
            criteria_id=CRITERIA,
            period=(MONTH, MONTH),
            in_force_from=MONTH,
            version_no=1,
            set_at=datetime(2026, 2, 1, tzinfo=UTC),
            set_by="benchmark",
            reason="benchmark",
        )
        assert found is not None
        return found

    model = ours()
    names = model.coefficients.filter(role="estimated").select("covariate", "level").rows()
    design = np.column_stack(
        [
            np.ones(N_EXAMS) if name == "intercept" else (exams[name] == level).to_numpy()
            for name, level in names
        ]
    ).astype(np.float64)
    y = exams["is_unreliable"].to_numpy().astype(np.float64)

    def theirs() -> np.ndarray:
        return np.asarray(sm.GLM(y, design, family=sm.families.Binomial()).fit(tol=1e-12).params)

    seconds = [(_timed(ours), _timed(theirs)) for _ in range(ROUNDS)]
    mine, rows = (min(one) for one in zip(*seconds, strict=True))
    found = model.coefficients.filter(role="estimated")["coefficient"].to_numpy()
    return [
        BenchmarkFigure(
            "casemix_fit_over_statsmodels_on_rows",
            mine / rows,
            1 / 40,
            f"{N_EXAMS:,} exams, counting by kind included: {mine:.2f} s; statsmodels {rows:.1f} s",
        ),
        BenchmarkFigure(
            "casemix_coefficients_apart",
            float(np.abs(found - theirs()).max()),
            1e-9,
            f"largest difference of {len(found)} coefficients to statsmodels on rows",
        ),
    ]


def _timed(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def make_exams() -> pl.DataFrame:
    """One row per exam: its levels, and whether it was unreliable."""
    rng = np.random.default_rng(SEED)
    levels = LEVELS | {"indication": INDICATIONS}
    eta, columns = np.full(N_EXAMS, -3.2), {}
    for name, words in levels.items():
        drawn = rng.integers(0, len(words), N_EXAMS)
        columns[name] = pl.Series(words).gather(pl.Series(drawn)).cast(pl.Categorical)
        eta += rng.normal(0, 0.3, len(words))[drawn]
    return pl.DataFrame(columns).with_columns(
        is_unreliable=pl.Series(rng.random(N_EXAMS) < 1 / (1 + np.exp(-eta)))
    )


def count(exams: pl.DataFrame) -> pl.DataFrame:
    """CASE_MIX_COUNTS of one month."""
    names = [*LEVELS, "indication"]
    cells = exams.group_by(names).agg(
        n_measured=pl.len().cast(pl.Int64), n_unreliable=pl.col("is_unreliable").sum()
    )
    zeros = [pl.lit(0, pl.Int64).alias(name) for name in CASE_MIX_COLUMNS if name not in cells]
    place = {"month": pl.lit(MONTH), "criteria_id": pl.lit(CRITERIA)}
    return CASE_MIX_COUNTS.conform(cells.with_columns(*zeros, **place))
