"""Plausibility bounds, both ends allowed: beyond them a value is a slip, not a patient.

All are proposals of this tool, wide on purpose; none is a rule about a good exam.
"""

from datetime import date

FIRST_DAY = date(2000, 1, 1)

RATIO_TOLERANCE_SHARE = 0.01 + 1e-9
"""One point of per cent, with room for the last digit of a float."""

STIFFNESS_KPA = (1.0, 100.0)
SPEED_M_S = (0.5, 6.0)
ATTENUATION_DB_M = (50.0, 500.0)
ATTENUATION_DB_CM_MHZ = (0.1, 10.0)
MAX_IQR = {"stiffness_iqr": 100.0, "attenuation_iqr": 500.0}
"""As measured; no IQR is wider than its quantity can be. A record number in its column is."""
OTHER_BOUNDS: dict[str, tuple[float, float]] = {
    "n_attempted": (0, 200),
    "n_valid": (0, 200),
    "stated_ratio_pct": (0, 2000),
    "fasting_hours": (0, 72),
    "rest_minutes": (0, 600),
    "bmi": (8, 100),
    "height_cm": (40, 250),
    "weight_kg": (2, 400),
    "age_years": (0, 120),
    "duration_s": (0, 14_400),
    "pressure_in_range_pct": (0, 100),
    "motion_in_range_pct": (0, 100),
    "quality_index_pct": (0, 100),
    "roi_depth_mm": (0, 200),
    "skin_to_capsule_mm": (0, 150),
}
