"""What only some devices tell: mode, pressure, motion, depth, quality index."""

import numpy as np

from demo_sites.figures import by_shape
from demo_sites.patients import Columns


def draw_device_figures(rng: np.random.Generator, exams: Columns) -> Columns:
    """Figures of each exam, whether its shape has a column for them or not.

    Returns: pressure_in_range_pct, motion_in_range_pct, quality_index_pct (whole per cent),
        roi_depth_mm, skin_to_capsule_mm (one decimal); a poor exam has poorer ones.
    """
    n = len(exams["day"])
    poor = exams["outcome"] != 0
    return {
        "pressure_in_range_pct": _percent(rng, 90 - 14 * poor, 6, n),
        "motion_in_range_pct": _percent(rng, 93 - 12 * poor, 5, n),
        "quality_index_pct": _percent(rng, 88 - 15 * poor, 7, n),
        "roi_depth_mm": np.round(np.clip(rng.normal(42, 6, n), 20, 70), 1),
        "skin_to_capsule_mm": np.round(np.clip(exams["depth_mm"], 8, 60), 1),
    }


def _percent(rng: np.random.Generator, centre: np.ndarray, spread: float, n: int) -> np.ndarray:
    return np.round(np.clip(rng.normal(0, 1, n) * spread + centre, 20, 100))


def keep_fixed_groups(exams: Columns) -> Columns:
    """A device that takes a fixed group stops there: n_valid and n_attempted anew."""
    most = by_shape("most_valid", exams["shape"])
    n_valid = np.minimum(exams["n_valid"], most)
    return {"n_valid": n_valid, "n_attempted": exams["n_attempted"] - exams["n_valid"] + n_valid}
