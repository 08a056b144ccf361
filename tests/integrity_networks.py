"""Invented networks for the integrity checks: honest exams from single readings, then faults.

Nothing here knows of the checks: readings are drawn, shown in the steps of a device, and a median
and an IQR are taken of what is shown. Operators differ in steadiness, in how often exams fail and
in pace; some patients come again. Faults are what a person might do to such data.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime

import numpy as np
import polars as pl

from qa.assess import assess_exams
from qa.model.schemas import EXAMS
from tests.exam_tables import DEFAULTS, criteria_in_force, definitions

CRITERIA = "common-practice.v1"
FIRST_DAY = date(2025, 1, 1)
Fault = Callable[[np.random.Generator, pl.DataFrame], pl.DataFrame]


@dataclass(frozen=True)
class Shape:
    """How large an invented network is: exams are a month's, of each operator."""

    n_sites: int = 12
    n_operators: int = 4
    exams: int = 35
    months: int = 12


def honest_exams(rng: np.random.Generator, shape: Shape = Shape()) -> pl.DataFrame:
    """EXAMS of a network in which nobody makes anything up; each operator has a device."""
    n_people = shape.n_sites * shape.n_operators
    n_each = rng.poisson(shape.exams * shape.months * rng.lognormal(0, 0.2, n_people))
    person = np.repeat(np.arange(n_people), n_each)
    day = rng.integers(0, 30 * shape.months, len(person))
    order = np.lexsort((day, person))
    person, day = person[order], day[order]
    frame = _figures(rng, person, n_people).with_columns(
        person=person, day=day, patient=np.arange(len(person))
    )
    frame = _with_visits_again(rng, frame)
    return _as_exams(_with_times(rng, frame, n_people), shape)


def _figures(rng: np.random.Generator, person: np.ndarray, n_people: int) -> pl.DataFrame:
    n = len(person)
    true = 5.0 * rng.lognormal(0, 0.4, n)
    spread = 0.115 * rng.lognormal(0, 0.45, n) * rng.lognormal(0, 0.15, n_people)[person]
    failing = rng.lognormal(0, 0.35, n_people)[person]
    draw = rng.random(n)
    n_valid = np.where(draw < 0.03 * failing, 0, 10)
    is_short = (draw >= 0.03 * failing) & (draw < 0.06 * failing)
    n_valid = np.where(is_short, 10 - rng.geometric(0.35, n).clip(1, 9), n_valid)
    readings = np.round(true[:, None] * rng.lognormal(0, spread[:, None], (n, 10)), 1).clip(1, 75)
    quartiles = np.quantile(readings, (0.25, 0.5, 0.75), axis=1)
    for k in np.unique(n_valid[(n_valid > 0) & (n_valid < 10)]):
        rows = n_valid == k
        quartiles[:, rows] = np.quantile(readings[rows][:, :k], (0.25, 0.5, 0.75), axis=1)
    attenuation = np.round(rng.normal(250, 55, n).clip(100, 400))
    is_none = n_valid == 0
    return pl.DataFrame(
        {
            "true": true,
            "spread": spread,
            "n_valid": n_valid,
            "n_attempted": np.where(is_none, 12, n_valid + rng.poisson(1.2, n)),
            "stiffness_value": np.round(quartiles[1] + 1e-9, 1),
            "stiffness_iqr": np.round(quartiles[2] - quartiles[0] + 1e-9, 1),
            "attenuation_value": attenuation,
            "attenuation_iqr": np.round(30 * rng.lognormal(0, 0.4, n)).clip(2),
            "measurements": pl.Series(readings).arr.to_list(),
            "is_none": is_none,
        }
    ).with_columns(
        measurements=pl.when(pl.col("n_valid") > 0).then(
            pl.col("measurements").list.head(pl.col("n_valid"))
        )
    )


def _with_visits_again(rng: np.random.Generator, frame: pl.DataFrame) -> pl.DataFrame:
    """A tenth comes again within half a year: another exam of a liver that changed a little."""
    n = frame.height
    again = np.flatnonzero(rng.random(n) < 0.1)
    first = rng.integers(0, n, len(again))
    is_near = abs(frame["day"].to_numpy()[first] - frame["day"].to_numpy()[again]) < 170
    again, first = again[is_near], first[is_near]
    patient = frame["patient"].to_numpy().copy()
    patient[again] = patient[first]
    ratio = np.ones(n)
    change = frame["true"].to_numpy()[first] / frame["true"].to_numpy()[again]
    ratio[again] = change * rng.lognormal(0, 0.15, len(again))
    scaled = [
        (pl.col(name) * pl.Series(ratio)).round(1).alias(name)
        for name in ("stiffness_value", "stiffness_iqr")
    ]
    lists = (pl.col("measurements") * pl.Series(ratio)).list.eval(pl.element().round(1))
    scaled_frame = frame.with_columns(measurements=lists, patient=patient)
    medians = pl.col("measurements").list.median().round(1)
    is_again = pl.Series(ratio != 1.0)
    return scaled_frame.with_columns(scaled).with_columns(
        stiffness_value=pl.when(is_again).then(medians).otherwise("stiffness_value")
    )


def _with_times(rng: np.random.Generator, frame: pl.DataFrame, n_people: int) -> pl.DataFrame:
    n = frame.height
    pace = rng.lognormal(0, 0.2, n_people)[frame["person"].to_numpy()]
    duration = (360 * pace * rng.lognormal(0, 0.35, n)).clip(150)
    pause = rng.gamma(2, 300, n) + 120
    first_s = 8 * 3600 + rng.integers(0, 1800, n)
    return frame.with_columns(
        duration_s=np.round(duration), busy_s=duration + pause, first_s=first_s
    ).with_columns(
        start_s=(pl.col("busy_s").cum_sum() - pl.col("busy_s") + pl.col("first_s").first()).over(
            "person", "day"
        )
    )


def _as_exams(frame: pl.DataFrame, shape: Shape) -> pl.DataFrame:
    midnight = datetime(FIRST_DAY.year, FIRST_DAY.month, FIRST_DAY.day, tzinfo=UTC)
    moment = pl.lit(midnight) + pl.duration(days="day", seconds=pl.col("start_s").round())
    site = pl.col("person") // shape.n_operators
    is_none = pl.col("is_none")
    blank = [
        pl.when(~is_none).then(name).alias(name)
        for name in ("stiffness_value", "stiffness_iqr", "attenuation_value", "attenuation_iqr")
    ]
    return EXAMS.conform(
        frame.with_columns(blank).with_columns(
            exam_key=pl.format("exam-{}", pl.int_range(pl.len())),
            version_no=pl.lit(1),
            patient_key=pl.format("patient-{}", "patient"),
            site_id=pl.format("site-{}", site),
            operator_id=pl.format("op-{}", "person"),
            device_id=pl.format("dev-{}", "person"),
            technique=pl.lit("TE"),
            probe=pl.lit("standard"),
            performed=pl.lit("performed"),
            order_type=pl.lit("unknown"),
            stiffness_unit=pl.lit("kPa"),
            stiffness_kpa=pl.col("stiffness_value"),
            attenuation_unit=pl.lit("dB/m"),
            attenuation_db_m=pl.col("attenuation_value"),
            attenuation_iqr_db_m=pl.col("attenuation_iqr"),
            sex=pl.lit("unknown"),
            is_stiffness_censored=False,
            is_attenuation_censored=False,
            is_date_nominal=False,
            is_retracted=False,
            exam_at=moment,
            exam_on=moment.dt.date(),
            month=moment.dt.date().dt.truncate("1mo"),
            flags=pl.lit(None, dtype=pl.List(pl.String)).fill_null([]),
            file_id=pl.lit("file"),
            row_no=pl.int_range(pl.len()) + 1,
            profile_id=pl.lit("invented.v1"),
            row_hash=pl.format("hash-{}", pl.int_range(pl.len())),
            known_at=pl.lit(datetime(2026, 1, 5, tzinfo=UTC)),
        )
    )


def assessed(exams: pl.DataFrame) -> pl.DataFrame:
    """EXAMS with their assessments under CRITERIA, as a snapshot holds them."""
    verdicts = assess_exams(
        exams,
        criteria=criteria_in_force(CRITERIA),
        grade_tables=[],
        settings=DEFAULTS,
        horizon_on=exams["exam_on"].max(),
    )
    return exams.join(verdicts, on=["exam_key", "version_no"])


def used_criteria() -> dict:
    return {CRITERIA: definitions().criteria[CRITERIA]}


def copier(rng: np.random.Generator, exams: pl.DataFrame, *, share: float = 0.12) -> pl.DataFrame:
    """Copies all figures of an exam done before into another patient's, readings included."""
    names = ["n_valid", "n_attempted", "stiffness_value", "stiffness_iqr", "stiffness_kpa"]
    names += ["attenuation_value", "attenuation_iqr", "measurements"]
    rows = np.arange(exams.height)
    copied = np.flatnonzero(rng.random(exams.height) < share)
    rows[copied] = (copied - rng.integers(1, 6, len(copied))).clip(0)
    return exams.with_columns(exams[rows.tolist()].select(names))


def gamer(rng: np.random.Generator, exams: pl.DataFrame, *, share: float = 0.85) -> pl.DataFrame:
    """Writes an IQR that just meets 30 %, and a tenth measurement where one is missing."""
    ratio = pl.col("stiffness_iqr") / pl.col("stiffness_value")
    just_inside = (pl.col("stiffness_value") * 0.3 * 10 + 1e-9).floor() / 10
    hit = pl.lit(pl.Series(rng.random(exams.height) < share))
    return exams.with_columns(
        stiffness_iqr=pl.when(hit & (ratio > 0.30)).then(just_inside).otherwise("stiffness_iqr"),
        n_valid=pl.when(hit & (pl.col("n_valid") == 9)).then(10).otherwise("n_valid"),
    )


def rounder(rng: np.random.Generator, exams: pl.DataFrame, *, share: float = 0.5) -> pl.DataFrame:
    """Writes half of the attenuation values to the next ten."""
    hit = pl.lit(pl.Series(rng.random(exams.height) < share))
    tens = (pl.col("attenuation_value") / 10).round() * 10
    return exams.with_columns(
        attenuation_value=pl.when(hit).then(tens).otherwise("attenuation_value")
    )


def one_iqr(rng: np.random.Generator, exams: pl.DataFrame, *, share: float = 0.35) -> pl.DataFrame:
    """Writes the same IQR of attenuation again and again."""
    hit = pl.lit(pl.Series(rng.random(exams.height) < share)) & (pl.col("n_valid") > 0)
    return exams.with_columns(attenuation_iqr=pl.when(hit).then(25.0).otherwise("attenuation_iqr"))


def hider(rng: np.random.Generator, exams: pl.DataFrame, *, share: float = 0.95) -> pl.DataFrame:
    """Does not send exams that failed or were incomplete."""
    hit = pl.Series(rng.random(exams.height) < share)
    return exams.filter(~(hit & (exams["n_valid"] < 10)))


def late_typist(
    rng: np.random.Generator, exams: pl.DataFrame, *, share: float = 0.2
) -> pl.DataFrame:
    """Enters some days at their end, 50 seconds for each exam."""
    days = exams["exam_on"].unique().sort()
    chosen = days.filter(pl.Series(rng.random(len(days)) < share))
    place = pl.int_range(pl.len()).over("exam_on")
    evening = pl.col("exam_on").cast(pl.Datetime("us", "UTC")) + pl.duration(hours=17)
    late = evening + pl.duration(seconds=place * 50)
    is_late = pl.col("exam_on").is_in(chosen.implode())
    return exams.with_columns(exam_at=pl.when(is_late).then(late).otherwise("exam_at"))


def until_good(
    rng: np.random.Generator, exams: pl.DataFrame, *, share: float = 0.05
) -> pl.DataFrame:
    """Repeats at once until an exam is good: two wide ones before some good ones."""
    is_good = (exams["stiffness_iqr"] / exams["stiffness_value"] <= 0.3).fill_null(False)
    chosen = exams.filter(pl.Series(rng.random(exams.height) < share) & is_good)
    tries = [
        chosen.with_columns(
            exam_key=pl.format("{}-try-{}", "exam_key", pl.lit(number)),
            exam_at=pl.col("exam_at") - pl.duration(minutes=45 * number),
            stiffness_iqr=(pl.col("stiffness_value") * 0.4).round(1),
            measurements=pl.lit(None, dtype=pl.List(pl.Float64)),
        )
        for number in (1, 2)
    ]
    return pl.concat([exams, *tries])


def plant(
    rng: np.random.Generator,
    exams: pl.DataFrame,
    unit_id: str,
    fault: Fault,
    *,
    kind: str = "operator",
) -> pl.DataFrame:
    """Change one operator's or site's exams by a fault; the others stay as they are."""
    own = pl.col(f"{kind}_id") == unit_id
    return pl.concat([exams.filter(~own), fault(rng, exams.filter(own).sort("exam_at"))])


def homes_of(exams: pl.DataFrame) -> dict[str, dict[str, str]]:
    """Home sites for find_integrity."""
    return {
        kind: dict(exams.select(pl.col(f"{kind}_id").alias("unit"), "site_id").unique().iter_rows())
        for kind in ("site", "operator", "device")
    }
