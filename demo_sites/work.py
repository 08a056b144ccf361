"""How exams turn out: which fail, which are poor, and which figures the device would state.

The chance of a poor exam follows the published odds ratios of domain papers for body-mass index,
age and sex (Castera et al., Hepatology 2010), is set to the scenario's rates over all patients,
and is then moved by the planted events. Figures are drawn to fit the outcome.
"""

from dataclasses import dataclass

import numpy as np

from demo_sites.patients import Columns, invent_patients
from demo_sites.planted import ActiveEvents
from demo_sites.scenario import Rates

GOOD, WIDE, FEW, NONE = 0, 1, 2, 3
"""Intended outcome: enough and steady, spread too wide, too few valid, no valid measurement."""


@dataclass(frozen=True)
class Chances:
    """Intercepts (log odds) that give the scenario's rates over all patients."""

    none: float
    few: float
    wide: float


def _sigmoid(x: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-x))


def _log_odds(body: Columns) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What a patient and the probe add to the log odds: no valid measurement, too few, too wide.

    Castera 2010: failure, body-mass index over 30 OR 7.5 with the standard probe, age over 52
    OR 2.3; unreliable, body-mass index over 30 OR 3.3, age over 52 OR 1.8, female OR 1.4. Here the
    log odds rise evenly with body-mass index, so that above against below 30 gives about 3.3, and
    less for failure, as the large-patient probe is used (proposal). Myers 2012: the standard probe
    in large patients fails in 16 against 1.1 % and is not reliable in 50 against 25 %.
    """
    heavy = body["bmi"] - 28
    older = body["age"] > 52
    misfit = body["is_misfit"]
    none = 0.09 * heavy + np.log(2.3) * older + np.log(17.0) * misfit
    poor = 0.105 * heavy + np.log(1.8) * older + np.log(3.0) * misfit
    poor = poor + 0.3 * (body["depth_mm"] > 25)
    female = np.log(1.4) * ~body["is_male"]
    hard = body["difficulty"]
    return none + hard, poor + hard, poor + female + hard


def set_chances(rng: np.random.Generator, rates: Rates) -> Chances:
    """Find the intercepts on 20,000 reference patients with the probe that fits."""
    n = 20_000
    patients = invent_patients(
        rng,
        np.zeros(n, dtype=np.int64),
        np.full(n, 20_000),
        events=ActiveEvents(()),
        paediatric_share=np.zeros(1),
    )
    patients["age"] = (20_000 - patients["birth_day"]) / 365.25
    patients["is_misfit"] = np.zeros(n, dtype=bool)
    wanted = (rates.failed, rates.incomplete / (1 - rates.failed), rates.unreliable)
    found = [
        _intercept(log_odds, share)
        for log_odds, share in zip(_log_odds(patients), wanted, strict=True)
    ]
    return Chances(*found)


def _intercept(log_odds: np.ndarray, share: float) -> float:
    low, high = -20.0, 10.0
    for _ in range(50):
        middle = (low + high) / 2
        if float(_sigmoid(log_odds + middle).mean()) < share:
            low = middle
        else:
            high = middle
    return high


def choose_probes(
    rng: np.random.Generator, exams: Columns, events: ActiveEvents
) -> tuple[np.ndarray, np.ndarray]:
    """Probe of each exam (0 standard, 1 large-patient, 2 paediatric), and where it does not fit."""
    needs_large = exams["is_te"] & (exams["depth_mm"] > 25) & ~exams["is_child"]
    drawn = np.full(len(needs_large), -1)
    wrong = needs_large & events.draw(
        rng, "wrong_probe", day=exams["day"], operator=exams["operator"], into=drawn
    )
    exams["touched"] = np.where(wrong, drawn, exams["touched"])
    probe = np.where(needs_large & ~wrong, 1, 0)
    return np.where(exams["is_te"] & exams["is_child"], 2, probe), wrong


def choose_outcomes(
    rng: np.random.Generator,
    exams: Columns,
    *,
    chances: Chances,
    skill: np.ndarray,
    n_done: np.ndarray,
    events: ActiveEvents,
) -> np.ndarray:
    """Intended outcome of each exam.

    Args: skill: log odds by operator.   n_done: exams an operator has done before this month.
    """
    none, few, wide = _log_odds(exams)
    person = skill[exams["operator"]]
    p_none = _sigmoid(none + chances.none + 0.5 * person)
    p_few = _sigmoid(few + chances.few + person)
    p_wide = _sigmoid(wide + chances.wide + person)
    for active in events.of_kind("technique_drift"):
        touched = active.touches(day=exams["day"], operator=exams["operator"])
        extra = active.strength(exams["day"]) * touched
        if active.event.shows_as == "count":
            p_few = p_few + extra
        else:
            p_wide = p_wide + extra
    for active in events.of_kind("device_wear"):
        touched = active.touches(day=exams["day"], device=exams["device"])
        p_few = p_few + active.strength(exams["day"]) * touched
    for active in events.of_kind("learning_curve"):
        touched = active.touches(day=exams["day"], operator=exams["operator"])
        done = n_done[exams["operator"]]
        p_wide = p_wide + (active.event.size or 0.0) * touched * 0.5 ** (done / active.event.exams)
    draws = rng.random((3, len(p_none)))
    result = np.where(draws[2] < p_wide, WIDE, GOOD)
    result = np.where(draws[1] < p_few, FEW, result)
    return np.where(draws[0] < p_none, NONE, result)


def draw_figures(rng: np.random.Generator, exams: Columns, bias: np.ndarray) -> Columns:
    """Figures as a device would hold them, unrounded; nan where there is none.

    Args:
        exams: needs outcome, is_te, is_2d, probe, log_kpa, attenuation, is_misfit.
        bias: factor on stiffness (1: none).
    Returns: n_attempted, n_valid, kpa, ratio (in kPa), attenuation_db_m, attenuation_iqr_db_m.
    Method: within-person scatter of stiffness 11 % (Serra et al., Hepat Med 2020); scatter of
        attenuation 14 dB/m (SD of differences 19.8, survey manual LUX_J, over the root of two);
        spread of reliable exams and of attenuation as counted from the open US survey 2017-2018.
    """
    outcome = exams["outcome"]
    n = len(outcome)
    asked = np.where(exams["is_2d"], 5, 10)
    extra = np.where(rng.random(n) < 0.7, 0, rng.geometric(0.4, n))
    n_valid = np.select(
        [outcome == NONE, outcome == FEW],
        [0, 1 + (rng.random(n) * (asked - 1)).astype(np.int64)],
        asked + extra,
    )
    missed = rng.poisson(rng.gamma(0.42, 14.0, n)) + np.where(outcome == FEW, 8, 0)
    missed = np.where(outcome == NONE, 10 + rng.poisson(4, n), missed)
    kpa = np.exp(exams["log_kpa"] + rng.normal(0, 0.11, n)) * bias
    kpa = kpa * np.where(exams["probe"] == 1, 0.95, 1.0) * np.where(exams["is_misfit"], 1.15, 1.0)
    spread = steady_ratios(rng, n)
    wide = 0.3001 + rng.exponential(0.10, n)
    free = 0.20 * np.exp(rng.normal(0, 0.6, n))
    ratio = np.select([outcome == WIDE, outcome == FEW], [wide, free], spread)
    attenuation = exams["attenuation"] + rng.normal(0, 14, n) + 4 * (exams["probe"] == 1)
    log_iqr = np.log(33.4) + 0.15 * (exams["probe"] == 1) + 0.20 * (outcome == WIDE)
    has_any = outcome != NONE
    has_attenuation = has_any & exams["is_te"]
    return {
        "n_attempted": n_valid + missed,
        "n_valid": n_valid,
        "kpa": np.where(has_any, np.clip(kpa, 1.6, 75.0), np.nan),
        "ratio": np.where(has_any, ratio, np.nan),
        "attenuation_db_m": np.where(has_attenuation, np.clip(attenuation, 100, 400), np.nan),
        "attenuation_iqr_db_m": np.where(
            has_attenuation, np.exp(log_iqr + rng.normal(0, 0.5, n)), np.nan
        ),
    }


def steady_ratios(rng: np.random.Generator, n: int) -> np.ndarray:
    """IQR/median of exams whose spread passes, in kPa."""
    return 0.135 * np.exp(0.45 * _truncated_normal(rng, n, (np.log(0.2999 / 0.135)) / 0.45))


def _truncated_normal(rng: np.random.Generator, n: int, upper: float) -> np.ndarray:
    """Standard normal draws, those above `upper` drawn again."""
    draws = rng.normal(size=n)
    while (above := draws > upper).any():
        draws[above] = rng.normal(size=int(above.sum()))
    return draws
