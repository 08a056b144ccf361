"""How a planted event came out: its figure before and after, counted from the written records."""

from typing import Any

import polars as pl

from demo_sites.planted import Active

BEFORE_DAYS = 365
"""The figure before is counted over the year before the event."""

_PERFORMED = pl.col("performed") == "performed"
_MEASURED = pl.col("outcome").is_in(["reliable", "unreliable"])
_BREACH = (pl.col("fasting_hours") < 2.0) | (pl.col("fasting_stated") == "breach")
_FASTING_KNOWN = pl.col("fasting_hours").is_not_null() | pl.col("fasting_stated").is_not_null()
_LARGE = _PERFORMED & (pl.col("technique") == "TE") & (pl.col("bmi_kg_m2") >= 35)

_SHARES: dict[str, tuple[str, pl.Expr, pl.Expr]] = {
    "technique_drift": ("unreliable of measured", pl.col("outcome") == "unreliable", _MEASURED),
    "learning_curve": ("unreliable of measured", pl.col("outcome") == "unreliable", _MEASURED),
    "referral_bariatric": ("body-mass index 35 and over", pl.col("bmi_kg_m2") >= 35, _PERFORMED),
    "fasting_lapse": ("fasted under 2 h of recorded", _BREACH, _PERFORMED & _FASTING_KNOWN),
    "repeats_until_reliable": ("same day again of performed", pl.col("is_retry"), _PERFORMED),
    "copied_values": (
        "copied of reliable by TE",
        pl.col("is_copied"),
        (pl.col("outcome") == "reliable") & (pl.col("technique") == "TE"),
    ),
    "written_to_fit": ("unreliable of measured", pl.col("outcome") == "unreliable", _MEASURED),
    "paired_exams": ("second of a pair of performed", pl.col("is_second"), _PERFORMED),
    "grade_mix_referral": (
        "stiffness 7.1 kPa and over of measured by TE",
        pl.col("stiffness_kpa") >= 7.1,
        _MEASURED & (pl.col("technique") == "TE"),
    ),
    "wrong_probe": (
        "standard probe at body-mass index 35 and over, by TE",
        pl.col("probe") == "standard",
        _LARGE,
    ),
}
_INCOMPLETE = (
    "incomplete of judged",
    pl.col("outcome") == "incomplete",
    pl.col("outcome") != "not performed",
)


def realised_figures(active: Active, records: pl.DataFrame) -> dict[str, Any]:
    """Figures of the event's target before and within the event (shares 0 to 1)."""
    event = active.event
    column = "site_id" if event.site else "operator_id" if event.operator else "device_id"
    own = records.filter(pl.col(column) == event.target)
    within = own.filter(pl.col("day").is_between(active.from_day, active.before_day, closed="left"))
    before = own.filter(
        pl.col("day").is_between(active.from_day - BEFORE_DAYS, active.from_day, closed="left")
    )
    result: dict[str, Any] = {
        "n_exams": within.height,
        "n_months": within["month"].n_unique(),
    }
    if event.kind == "late_site":
        return result | {"figure": "exams not sent", "n_not_sent": within.height}
    if event.kind == "device_bias":
        return result | _stiffness_shift(before, within)
    is_count = event.kind == "device_wear" or event.shows_as == "count"
    figure, happened, counted = _INCOMPLETE if is_count else _SHARES[event.kind]
    result["figure"] = figure
    for name, frame in (("before", before), ("after", within)):
        part = frame.filter(counted)
        n_events = part.filter(happened).height
        result |= {
            f"n_events_{name}": n_events,
            f"n_{name}": part.height,
            f"share_{name}": round(n_events / part.height, 5) if part.height else None,
        }
    if event.kind == "learning_curve":
        result["first_months"] = _first_months(within)
    return result


def _stiffness_shift(before: pl.DataFrame, within: pl.DataFrame) -> dict[str, Any]:
    medians = [frame.filter(_MEASURED)["stiffness_kpa"].median() for frame in (before, within)]
    return {"figure": "median stiffness, kPa", "before": medians[0], "after": medians[1]}


def _first_months(within: pl.DataFrame) -> list[dict[str, Any]]:
    """Unreliable exams in each of the first twelve months."""
    monthly = (
        within.filter(_MEASURED)
        .group_by("month")
        .agg((pl.col("outcome") == "unreliable").sum().alias("n_events"), pl.len().alias("n"))
        .sort("month")
        .head(12)
    )
    return [
        {"month": f"{row['month']:%Y-%m}", "n_events": row["n_events"], "n": row["n"]}
        for row in monthly.iter_rows(named=True)
    ]
