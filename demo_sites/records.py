"""Simulated exams → what is written down, in each site's units and rounding.

The frame holds every value as a perfect intake would hold it. That makes it the truth that
intake is compared with row by row; exports.py only changes how the values look.
"""

from collections.abc import Sequence

import numpy as np
import polars as pl

from demo_sites.devices import draw_device_figures, keep_fixed_groups
from demo_sites.figures import (
    by_shape,
    copy_values,
    draw_preparation,
    round_figures,
    write_to_fit,
)
from demo_sites.patients import INDICATIONS, Columns
from demo_sites.places import codes_in_files
from demo_sites.plan import Registers
from demo_sites.planted import ActiveEvents
from demo_sites.readings import add_readings
from demo_sites.scenario import Scenario
from demo_sites.sent import only_sent
from demo_sites.shapes import SHAPES
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
    side_rng: np.random.Generator,
    scenario: Scenario,
    registers: Registers,
    events: ActiveEvents,
) -> pl.DataFrame:
    """One row per exam, in order of site and time.

    Args:     exams: with `shape`, the place of each exam's shape in SHAPES.
              side_rng: for what does not decide how an exam turns out.
    Returns: canonical columns (see qa.model.schemas.EXAMS) beside what only the truth knows.
    """
    order = np.lexsort((exams["patient"], exams["minute"], exams["day"], exams["site"]))
    exams = {name: column[order] for name, column in exams.items()}
    exams |= keep_fixed_groups(exams)
    exams |= round_figures(exams)
    write_to_fit(rng, exams, events)
    exams["is_copied"] = copy_values(rng, exams, events)
    exams |= draw_preparation(rng, exams, scenario, events)
    exams |= draw_device_figures(side_rng, exams)
    figures, readings = add_readings(side_rng, exams)
    frame = _frame(exams | figures, scenario=scenario, registers=registers, events=events)
    frame = _with_times(frame.with_columns(readings.alias("measurements")), scenario)
    return only_sent(frame, exams["shape"])


def _frame(
    exams: Columns, *, scenario: Scenario, registers: Registers, events: ActiveEvents
) -> pl.DataFrame:
    return pl.DataFrame(
        _identities(exams, scenario, registers)
        | _measurements(exams)
        | _circumstances(exams)
        | _devices(exams)
        | _planted(exams, events)
        | {
            "outcome": pl.Series(judge_outcomes(exams)),
            "attenuation_outcome": pl.Series(judge_attenuation(exams)),
        }
    )


def _kept(values: np.ndarray, where: np.ndarray) -> pl.Series:
    """Values where `where` is true, null elsewhere."""
    return pl.Series(values).set(pl.Series(~where), None)


def _words(table: Sequence[str], index: np.ndarray) -> pl.Series:
    return pl.Series(table, dtype=pl.String).gather(index)


def _identities(exams: Columns, scenario: Scenario, registers: Registers) -> FrameColumns:
    site, operator, device = exams["site"], exams["operator"], exams["device"]
    people, machines = registers.operators, registers.devices
    return {
        "site_id": _words([one.id for one in scenario.sites], site),
        "shape": _words([one.id for one in SHAPES], exams["shape"]),
        "patient": exams["patient"],
        "operator_id": _words([one.id for one in people], operator),
        "operator_code": codes_in_files(
            [one.code for one in people],
            registers.operator_site,
            registers.visitor_codes,
            unit=operator,
            site=site,
        ),
        "device_id": _words([one.id for one in machines], device),
        "device_code": codes_in_files(
            [one.code for one in machines],
            registers.device_site,
            registers.moved_codes,
            unit=device,
            site=site,
        ),
        "day": exams["day"],
        "minute": exams["minute"],
    }


def _measurements(exams: Columns) -> FrameColumns:
    shape = exams["shape"]
    done = exams["performed"] == PERFORMED
    figure, attenuation = exams["has_figure"], exams["has_attenuation"]
    spread = exams["has_iqr"]
    steps = by_shape("stiffness_steps", shape)
    attenuation_steps = by_shape("attenuation_steps", shape)
    median, iqr = exams["median_steps"], exams["iqr_steps"]
    return {
        "n_attempted": _kept(exams["n_attempted"], done),
        "n_valid": _kept(exams["n_valid"], done),
        "stiffness_value": _kept(median / steps, figure),
        "stiffness_iqr": _kept(iqr / steps, spread),
        "stiffness_unit": _kept(by_shape("stiffness_unit", shape), figure),
        "stated_ratio_share": _kept(np.round(100 * iqr / np.maximum(median, 1)) / 100, spread),
        "attenuation_value": _kept(exams["attenuation_steps"] / attenuation_steps, attenuation),
        "attenuation_iqr": _kept(exams["attenuation_iqr_steps"] / attenuation_steps, attenuation),
        "attenuation_unit": _kept(by_shape("attenuation_unit", shape), attenuation),
        "duration_s": _kept(exams["duration_s"], done),
    }


def _devices(exams: Columns) -> FrameColumns:
    """What only some devices tell; per cent as written."""
    done, figure = exams["performed"] == PERFORMED, exams["has_figure"]
    return {
        "pressure_in_range_pct": _kept(exams["pressure_in_range_pct"], done & exams["is_te"]),
        "motion_in_range_pct": _kept(exams["motion_in_range_pct"], done & exams["is_te"]),
        "quality_index_pct": _kept(exams["quality_index_pct"], figure),
        "roi_depth_mm": _kept(exams["roi_depth_mm"], figure & ~exams["is_te"]),
        "skin_to_capsule_mm": _kept(exams["skin_to_capsule_mm"], done),
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
        "age_years": np.minimum(_ages(exams), 90),
        "sex": _words(["female", "male"], exams["is_male"].astype(np.int64)),
        "indication": _words(INDICATIONS, exams["indication"]),
        "comment": exams["comment"],
    }


def _ages(exams: Columns) -> np.ndarray:
    """Full years at the exam; by the calendar where the birth date is what is sent."""
    born, on = (exams[name].astype("datetime64[D]") for name in ("birth_day", "day"))
    months = [day.astype("datetime64[M]") for day in (born, on)]
    of_month = [
        (day - month).astype(np.int64) for day, month in zip((born, on), months, strict=True)
    ]
    full_months = (months[1] - months[0]).astype(np.int64) - (of_month[1] < of_month[0])
    is_by_calendar = by_shape("is_age_from_birth", exams["shape"])
    return np.where(is_by_calendar, full_months // 12, exams["age"].astype(np.int64))


def _planted(exams: Columns, events: ActiveEvents) -> FrameColumns:
    ids = [active.event.id for active in events.events] or [""]
    touched, stream = exams["touched"], exams["stream"]
    return {
        "is_misfit": exams["is_misfit"],
        "is_retry": exams["is_retry"],
        "is_copied": exams["is_copied"],
        "is_second": exams["is_second"],
        "planted_event": _words(ids, np.maximum(touched, 0)).set(pl.Series(touched < 0), None),
        "planted_stream": _words(ids, np.maximum(stream, 0)).set(pl.Series(stream < 0), None),
    }


def _with_times(frame: pl.DataFrame, scenario: Scenario) -> pl.DataFrame:
    local = pl.lit(0).cast(pl.Datetime("us")) + pl.duration(days="day", minutes="minute")
    return frame.with_columns(local.alias("local_at")).with_columns(
        pl.col("local_at")
        .dt.replace_time_zone(scenario.network.time_zone, ambiguous="earliest")
        .dt.convert_time_zone("UTC")
        .alias("exam_at"),
        pl.col("local_at").dt.date().alias("exam_on"),
        pl.col("local_at").dt.date().dt.truncate("1mo").alias("month"),
    )
