"""Simulated exams → what is written down, in each site's units and rounding.

The frame holds every value as a perfect intake would hold it. That makes it the truth that
intake is compared with row by row; exports.py only changes how the values look.
"""

from collections.abc import Sequence

import numpy as np
import polars as pl

from demo_sites.figures import (
    FREQUENCY_MHZ,
    by_site,
    copy_values,
    draw_preparation,
    round_figures,
)
from demo_sites.patients import INDICATIONS, Columns
from demo_sites.plan import Registers
from demo_sites.planted import ActiveEvents
from demo_sites.scenario import Scenario
from demo_sites.shapes import Shape, shape_by_id
from demo_sites.verdicts import judge_attenuation, judge_outcomes
from demo_sites.visits import PERFORMED

TECHNIQUES = ("TE", "pSWE", "2D-SWE")
PROBES = ("standard", "large-patient", "paediatric")
PERFORMED_WORDS = ("performed", "ineligible", "refused", "not done")
ORDER_WORDS = ("first", "follow-up", "recall", "confirmation")
FrameColumns = dict[str, pl.Series | np.ndarray]
REASONS = ("implanted device", "fluid", "declined", "other")


def write_down(
    rng: np.random.Generator,
    exams: Columns,
    *,
    scenario: Scenario,
    registers: Registers,
    events: ActiveEvents,
) -> pl.DataFrame:
    """One row per exam, in order of site and time.

    Returns: canonical columns (see qa.model.schemas.EXAMS) beside what only the truth knows.
    """
    order = np.lexsort((exams["patient"], exams["minute"], exams["day"], exams["site"]))
    exams = {name: column[order] for name, column in exams.items()}
    shapes = [shape_by_id(site.shape) for site in scenario.sites]
    exams |= round_figures(exams, shapes)
    exams["is_copied"] = copy_values(rng, exams, events)
    exams |= draw_preparation(rng, exams, scenario, events)
    frame = _frame(exams, scenario=scenario, registers=registers, events=events)
    return _only_sent(_with_times(frame, scenario.network.time_zone), shapes, exams["site"])


def _frame(
    exams: Columns, *, scenario: Scenario, registers: Registers, events: ActiveEvents
) -> pl.DataFrame:
    shapes = [shape_by_id(one.shape) for one in scenario.sites]
    return pl.DataFrame(
        _identities(exams, scenario, registers)
        | _measurements(exams, shapes)
        | _circumstances(exams)
        | _planted(exams, events)
        | {
            "outcome": pl.Series(judge_outcomes(exams, shapes)),
            "attenuation_outcome": pl.Series(judge_attenuation(exams, shapes)),
        }
    )


def _kept(values: np.ndarray, where: np.ndarray) -> pl.Series:
    """Values where `where` is true, null elsewhere."""
    return pl.Series(values).set(pl.Series(~where), None)


def _words(table: Sequence[str], index: np.ndarray) -> pl.Series:
    return pl.Series(table, dtype=pl.String).gather(index)


def _identities(exams: Columns, scenario: Scenario, registers: Registers) -> FrameColumns:
    site, operator, device = exams["site"], exams["operator"], exams["device"]
    return {
        "site_id": _words([one.id for one in scenario.sites], site),
        "patient": exams["patient"],
        "operator_id": _words([one.id for one in registers.operators], operator),
        "operator_code": _words([one.code for one in registers.operators], operator),
        "device_id": _words([one.id for one in registers.devices], device),
        "device_code": _words([one.code for one in registers.devices], device),
        "day": exams["day"],
        "minute": exams["minute"],
    }


def _measurements(exams: Columns, shapes: list[Shape]) -> FrameColumns:
    site = exams["site"]
    done = exams["performed"] == PERFORMED
    figure, attenuation = exams["has_figure"], exams["has_attenuation"]
    steps = by_site(shapes, "stiffness_steps", site)
    attenuation_steps = by_site(shapes, "attenuation_steps", site)
    median, iqr = exams["median_steps"], exams["iqr_steps"]
    return {
        "n_attempted": _kept(exams["n_attempted"], done),
        "n_valid": _kept(exams["n_valid"], done),
        "stiffness_value": _kept(median / steps, figure),
        "stiffness_iqr": _kept(iqr / steps, figure),
        "stiffness_unit": _kept(by_site(shapes, "stiffness_unit", site), figure),
        "stated_ratio_share": _kept(np.round(100 * iqr / np.maximum(median, 1)) / 100, figure),
        "attenuation_value": _kept(exams["attenuation_steps"] / attenuation_steps, attenuation),
        "attenuation_iqr": _kept(exams["attenuation_iqr_steps"] / attenuation_steps, attenuation),
        "attenuation_unit": _kept(by_site(shapes, "attenuation_unit", site), attenuation),
        "duration_s": _kept(exams["duration_s"], done),
    }


def _circumstances(exams: Columns) -> FrameColumns:
    done = exams["performed"] == PERFORMED
    hours, rest, position = exams["fasting_hours"], exams["rest_minutes"], exams["position"]
    return {
        "technique": _words(TECHNIQUES, exams["technique"]),
        "probe": _words(PROBES, exams["probe"]),
        "performed": _words(PERFORMED_WORDS, exams["performed"]),
        "not_performed_reason": _words(REASONS, exams["reason"]).set(pl.Series(done), None),
        "order_type": _words(ORDER_WORDS, exams["order"]),
        "fasting_hours": _kept(hours, done & ~np.isnan(hours)),
        "rest_minutes": _kept(rest, done & ~np.isnan(rest)),
        "position": _kept(position, done & ~np.isnan(position)),
        "height_cm": exams["height_cm"],
        "weight_kg": np.round(exams["bmi"] * (exams["height_cm"] / 100) ** 2, 1),
        "bmi": np.round(exams["bmi"], 1),
        "age_years": np.minimum(exams["age"].astype(np.int64), 90),
        "sex": _words(["female", "male"], exams["is_male"].astype(np.int64)),
        "indication": _words(INDICATIONS, exams["indication"]),
        "comment": exams["comment"],
    }


def _planted(exams: Columns, events: ActiveEvents) -> FrameColumns:
    ids = [active.event.id for active in events.events] or [""]
    touched, stream = exams["touched"], exams["stream"]
    return {
        "is_misfit": exams["is_misfit"],
        "is_retry": exams["is_retry"],
        "is_copied": exams["is_copied"],
        "planted_event": _words(ids, np.maximum(touched, 0)).set(pl.Series(touched < 0), None),
        "planted_stream": _words(ids, np.maximum(stream, 0)).set(pl.Series(stream < 0), None),
    }


def _with_times(frame: pl.DataFrame, time_zone: str) -> pl.DataFrame:
    local = pl.lit(0).cast(pl.Datetime("us")) + pl.duration(days="day", minutes="minute")
    return frame.with_columns(local.alias("local_at")).with_columns(
        pl.col("local_at")
        .dt.replace_time_zone(time_zone, ambiguous="earliest")
        .dt.convert_time_zone("UTC")
        .alias("exam_at"),
        pl.col("local_at").dt.date().alias("exam_on"),
        pl.col("local_at").dt.date().dt.truncate("1mo").alias("month"),
    )


def _only_sent(frame: pl.DataFrame, shapes: list[Shape], site: np.ndarray) -> pl.DataFrame:
    """Null what a site's shape has no column for; derive what intake derives."""

    def sent(column: str) -> pl.Series:
        return pl.Series(np.array([column in shape.sends for shape in shapes])[site])

    def limit(name: str, end: int) -> pl.Series:
        return pl.Series(np.array([getattr(shape, name)[end] for shape in shapes])[site])

    hours, position = pl.col("fasting_hours"), pl.col("position")
    frame = frame.with_columns(
        _stated(hours >= 2.0, sent("fasting") & hours.is_not_null()).alias("fasting_stated"),
        _stated(position == 1.0, sent("position") & position.is_not_null()).alias(
            "position_stated"
        ),
        pl.when(sent("bmi"))
        .then(pl.col("bmi"))
        .otherwise(pl.col("weight_kg") / (pl.col("height_cm") / 100) ** 2)
        .alias("bmi_kg_m2"),
        _in_kpa().alias("stiffness_kpa"),
        _in_db_m("attenuation_value").alias("attenuation_db_m"),
        _in_db_m("attenuation_iqr").alias("attenuation_iqr_db_m"),
    ).with_columns(
        pl.when(sent(column)).then(pl.col(name)).alias(name)
        for column, name in (
            ("stated_ratio_pct", "stated_ratio_share"),
            ("fasting_hours", "fasting_hours"),
            ("rest_minutes", "rest_minutes"),
            ("duration_s", "duration_s"),
        )
    )
    return frame.with_columns(
        _at_limit(name, limit(f"{kind}_limits_{unit}", 0), limit(f"{kind}_limits_{unit}", 1)).alias(
            f"is_{kind}_censored"
        )
        for kind, unit, name in (
            ("stiffness", "kpa", "stiffness_kpa"),
            ("attenuation", "db_m", "attenuation_db_m"),
        )
    )


def _stated(is_kept: pl.Expr, is_sent: pl.Expr) -> pl.Expr:
    return pl.when(is_sent).then(pl.when(is_kept).then(pl.lit("kept")).otherwise(pl.lit("breach")))


def _in_kpa() -> pl.Expr:
    """kPa = 3 × (m/s)² at a density of 1 g/cm³."""
    value = pl.col("stiffness_value")
    return pl.when(pl.col("stiffness_unit") == "m/s").then(3.0 * value**2).otherwise(value)


def _in_db_m(name: str) -> pl.Expr:
    """dB/m = 100 × frequency (MHz) × dB/cm/MHz."""
    value = pl.col(name)
    is_relative = pl.col("attenuation_unit") == "dB/cm/MHz"
    return pl.when(is_relative).then(100.0 * FREQUENCY_MHZ * value).otherwise(value)


def _at_limit(name: str, low: pl.Series, high: pl.Series) -> pl.Expr:
    value = pl.col(name)
    return ((value <= low) | (value >= high)).fill_null(False)
