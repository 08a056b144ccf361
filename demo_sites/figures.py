"""Simulated figures → whole steps of the unit that each site sends, copied ones, preparation."""

import numpy as np

from demo_sites.patients import Columns
from demo_sites.planted import ActiveEvents
from demo_sites.scenario import Scenario
from demo_sites.shapes import SHAPES
from demo_sites.visits import PERFORMED
from demo_sites.work import GOOD, NONE, WIDE

FREQUENCY_MHZ = 3.5
"""LOINC 81894-8 gives the frequency of transient elastography's attenuation as 3.5 MHz."""


def by_shape(name: str, shape: np.ndarray) -> np.ndarray:
    """A property of each exam's shape; shape: places in SHAPES."""
    return np.array([getattr(one, name) for one in SHAPES])[shape]


def round_figures(exams: Columns) -> Columns:
    """Figures in whole steps of the unit that the site sends (0.1 kPa, 0.01 m/s, 1 dB/m …).

    Rounding never moves an exam over the limit of spread: what was drawn as steady stays so.
    """
    shape = exams["shape"]
    is_speed = by_shape("stiffness_unit", shape) == "m/s"
    limit = by_shape("limit_share_pct", shape)
    has_figure = (exams["performed"] == PERFORMED) & (exams["outcome"] != NONE)
    kpa = np.where(has_figure, exams["kpa"], 5.0)
    measured = np.where(is_speed, np.sqrt(kpa / 3.0), kpa)
    ratio = np.where(has_figure, exams["ratio"], 0.1) * np.where(is_speed, 0.5, 1.0)
    median = np.round(measured * by_shape("stiffness_steps", shape)).astype(np.int64)
    iqr = np.round(ratio * median).astype(np.int64)
    iqr = np.where(exams["outcome"] == GOOD, np.minimum(iqr, (limit * median - 1) // 100), iqr)
    iqr = np.where(exams["outcome"] == WIDE, np.maximum(iqr, -(-limit * median // 100)), iqr)
    has_attenuation = has_figure & exams["is_te"]
    is_relative = by_shape("attenuation_unit", shape) != "dB/m"
    scale = np.where(
        is_relative, by_shape("attenuation_steps", shape) / (100.0 * FREQUENCY_MHZ), 1.0
    )
    attenuation = np.round(np.where(has_attenuation, exams["attenuation_db_m"], 0) * scale)
    spread = np.round(np.where(has_attenuation, exams["attenuation_iqr_db_m"], 0) * scale)
    return {
        "has_figure": has_figure,
        "has_attenuation": has_attenuation,
        "median_steps": median,
        "iqr_steps": iqr,
        "attenuation_steps": attenuation.astype(np.int64),
        "attenuation_iqr_steps": spread.astype(np.int64),
    }


def copy_values(rng: np.random.Generator, exams: Columns, events: ActiveEvents) -> np.ndarray:
    """copied_values: figures of the operator's last reliable exam are entered again."""
    n = len(exams["day"])
    copied = np.zeros(n, dtype=bool)
    drawn = np.full(n, -1)
    hit = events.draw(
        rng, "copied_values", day=exams["day"], operator=exams["operator"], into=drawn
    )
    if not hit.any():
        return copied
    fits = exams["has_figure"] & (exams["outcome"] == GOOD) & exams["is_te"]
    rows = np.flatnonzero(fits)
    rows = rows[np.lexsort((exams["minute"][rows], exams["day"][rows], exams["operator"][rows]))]
    operator = exams["operator"][rows]
    is_first = np.append(True, operator[1:] != operator[:-1])
    is_copy = hit[rows] & ~is_first
    source = rows[np.maximum.accumulate(np.where(is_copy, 0, np.arange(len(rows))))]
    for name in (
        "median_steps",
        "iqr_steps",
        "attenuation_steps",
        "attenuation_iqr_steps",
        "n_valid",
        "n_attempted",
    ):
        exams[name][rows] = exams[name][source]
    copied[rows] = is_copy
    exams["touched"] = np.where(copied, drawn, exams["touched"])
    return copied


def write_to_fit(rng: np.random.Generator, exams: Columns, events: ActiveEvents) -> None:
    """written_to_fit: the IQR of an exam of wide spread becomes the largest that passes."""
    drawn = np.full(len(exams["day"]), -1)
    hit = events.draw(
        rng, "written_to_fit", day=exams["day"], operator=exams["operator"], into=drawn
    )
    hit &= exams["has_figure"] & (exams["outcome"] == WIDE)
    limit = by_shape("limit_share_pct", exams["shape"])
    largest = (limit * exams["median_steps"] - 1) // 100
    exams["iqr_steps"] = np.where(hit, largest, exams["iqr_steps"])
    exams["outcome"] = np.where(hit, GOOD, exams["outcome"])
    exams["touched"] = np.where(hit, drawn, exams["touched"])


def draw_preparation(
    rng: np.random.Generator, exams: Columns, scenario: Scenario, events: ActiveEvents
) -> Columns:
    n = len(exams["day"])
    rates = scenario.rates
    hours = np.round(2 * (2.0 + rng.gamma(3.0, 1.6, n))) / 2
    drawn = np.full(n, -1)
    lapse = events.draw(
        rng,
        "fasting_lapse",
        day=exams["day"],
        site=exams["site"],
        operator=exams["operator"],
        into=drawn,
    )
    lapse &= exams["performed"] == PERFORMED
    exams["touched"] = np.where(lapse, drawn, exams["touched"])
    short = lapse | (rng.random(n) < rates.fasting_breach)
    hours = np.where(short, rng.choice([0.5, 1.0, 1.5], n), hours)
    is_known = lapse | (rng.random(n) < rates.fasting_recorded)
    return {
        "fasting_hours": np.where(is_known, np.minimum(hours, 16.0), np.nan),
        "rest_minutes": np.where(rng.random(n) < 0.93, rng.choice([5, 10, 10, 15, 20], n), np.nan),
        "position": np.where(rng.random(n) < 0.97, (rng.random(n) < 0.985).astype(float), np.nan),
        "duration_s": np.round(
            np.exp(np.log(150) + rng.normal(0, 0.33, n))
            * np.where(exams["outcome"] == GOOD, 1.0, 1.5)
        ),
        "reason": np.select(
            [exams["performed"] == 1, exams["performed"] == 2], [rng.integers(0, 2, n), 2], 3
        ),
        "comment": np.where(rng.random(n) < 0.12, rng.integers(0, 6, n), -1),
    }
