"""Invented patients: body, liver and cause, drawn so that a network looks like a clinic network.

Body-mass index drives what domain papers say it drives: the probe that fits, attenuation, and
how often an exam goes wrong.
"""

import numpy as np

from demo_sites.planted import ActiveEvents

INDICATIONS = ("fatty liver", "viral", "alcohol", "other")

_ALCOHOL, _OTHER = 2, 3

Columns = dict[str, np.ndarray]

_BMI_POINTS = (18.0, 22.5, 27.5, 32.5, 37.5, 44.0)
_ATTENUATION_BY_BMI = (190.0, 211.0, 258.0, 286.0, 305.0, 328.0)
"""Medians of attenuation (dB/m) by body-mass index, counted from the open US survey 2017-2018."""


def invent_patients(
    rng: np.random.Generator,
    site: np.ndarray,
    day: np.ndarray,
    *,
    events: ActiveEvents,
    paediatric_share: np.ndarray,
) -> Columns:
    """New patients.

    Args:
        site: index of the site each first comes to.
        day: day of the first visit (days since 1970).
        events: the planted events.   paediatric_share: share of children by site index.
    Returns: columns site, birth_day, is_male, height_cm, bmi, depth_mm (skin to capsule),
        is_child, log_kpa, attenuation, indication, difficulty, stream (event index or -1).
    """
    n = len(site)
    is_child = rng.random(n) < paediatric_share[site]
    stream = np.full(n, -1)
    is_bariatric, is_new_path = (
        events.draw(rng, kind, site=site, day=day, into=stream) & ~is_child
        for kind in ("referral_bariatric", "grade_mix_referral")
    )
    age = np.clip(rng.normal(54, 14, n), 18, 93)
    age = np.where(is_child, rng.uniform(6, 14, n), age)
    is_male = rng.random(n) < 0.52
    height = np.where(is_child, 75 + 5.9 * age, np.where(is_male, 176, 163)) + rng.normal(0, 6.5, n)
    bmi = np.clip(27.8 * np.exp(rng.normal(0, 0.20, n)), 16.5, 58)
    bmi = np.where(is_bariatric, np.clip(rng.normal(42, 4.5, n), 33, 60), bmi)
    bmi = np.where(is_child, np.clip(rng.normal(17.5, 2.2, n), 13, 26), bmi)
    log_kpa = _log_kpa(rng, bmi, is_new_path)
    cause = rng.choice(len(INDICATIONS), n, p=(0.52, 0.20, 0.14, 0.14))
    attenuation = np.interp(bmi, _BMI_POINTS, _ATTENUATION_BY_BMI) + rng.normal(0, 48, n)
    return {
        "site": site,
        "birth_day": day - (age * 365.25).astype(np.int64),
        "is_male": is_male,
        "height_cm": np.round(height),
        "bmi": bmi,
        "depth_mm": _depth(rng, bmi),
        "is_child": is_child,
        "log_kpa": np.where(is_child, np.log(4.6) + rng.normal(0, 0.18, n), log_kpa),
        "attenuation": attenuation + 35 * is_new_path,
        "indication": np.where(is_child & (cause == _ALCOHOL), _OTHER, cause),
        "difficulty": rng.normal(0, 0.4, n),
        "stream": np.where(is_child, -1, stream),
    }


def _log_kpa(rng: np.random.Generator, bmi: np.ndarray, is_new_path: np.ndarray) -> np.ndarray:
    """Most livers soft, some stiff: the two humps of a liver clinic."""
    n = len(bmi)
    is_stiff = rng.random(n) < np.where(is_new_path, 0.65, 0.13)
    soft = np.log(5.0) + rng.normal(0, 0.28, n)
    stiff = np.log(11.5) + rng.normal(0, 0.50, n)
    return np.where(is_stiff, stiff, soft) + 0.013 * (bmi - 28)


def _depth(rng: np.random.Generator, bmi: np.ndarray) -> np.ndarray:
    """Skin-to-capsule distance (mm). Over 25 mm the large-patient probe fits.

    The log odds rise by 0.28 for each kg/m2, so that the share by body-mass index follows the open
    US survey 2017-2018 (3, 11, 37, 66 and 90 % at < 25, 25-, 30-, 35- and 40 and over).
    """
    log_odds = -0.53 + 0.28 * (bmi - 32.5)
    return 25 + 2.0 * (log_odds + rng.logistic(0, 1, len(bmi)))
