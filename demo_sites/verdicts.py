"""What common practice makes of each exam, from the written steps, in whole numbers.

The truth is worked out here and nowhere else; the program under test has rules of its own.
"""

import numpy as np

from demo_sites.figures import FREQUENCY_MHZ, by_shape
from demo_sites.patients import Columns
from demo_sites.visits import PERFORMED


def judge_outcomes(exams: Columns) -> np.ndarray:
    """Outcome under common practice, from what is written down, in whole numbers (no rounding).

    At least ten valid measurements (five by 2D-SWE) and IQR/median under 30 % (15 % in m/s);
    common practice, no source.
    """
    asked = np.where(exams["is_2d"], 5, 10)
    limit = by_shape("limit_share_pct", exams["shape"])
    is_wide = 100 * exams["iqr_steps"] >= limit * exams["median_steps"]
    return np.select(
        [
            exams["performed"] != PERFORMED,
            exams["n_valid"] == 0,
            exams["n_valid"] < asked,
            is_wide,
        ],
        ["not performed", "failed", "incomplete", "unreliable"],
        "reliable",
    )


def judge_attenuation(exams: Columns) -> np.ndarray:
    """IQR under 40 dB/m is acceptable; common practice, no source."""
    per_step = np.where(
        by_shape("attenuation_unit", exams["shape"]) == "dB/m",
        1.0,
        100.0 * FREQUENCY_MHZ / by_shape("attenuation_steps", exams["shape"]),
    )
    is_wide = exams["attenuation_iqr_steps"] * per_step >= 40.0
    return np.select(
        [~exams["has_attenuation"], is_wide], ["not measured", "unreliable"], "reliable"
    )
