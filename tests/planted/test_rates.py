"""The demo's base rates beside published figures; each row names where its figure stands.

"survey" is the open US survey 2017-2018, counted without weights (../shared/open-data, also
domain reference part 3.2). A clinic network is not a population survey, so the tolerance is wide
where clinics are known to differ, and the row says so.
"""

import polars as pl
import pytest

from tests.planted.conftest import Demo

TE = pl.col("technique") == "TE"
STANDARD = TE & (pl.col("probe") == "standard")
LARGE = TE & (pl.col("probe") == "large-patient")
OUTCOME = pl.col("outcome")
RATIO = pl.col("stiffness_iqr") / pl.col("stiffness_value")
IN_KPA = TE & (pl.col("stiffness_unit") == "kPa")
POOR = OUTCOME.is_in(["unreliable", "incomplete"])

SHARES = [
    # name, of which exams, what, lowest, highest, source
    (
        "failed",
        TE,
        OUTCOME == "failed",
        0.006,
        0.04,
        "survey 0.6 % to Castera 2010 first exams 4 %",
    ),
    (
        "incomplete or unreliable",
        TE,
        POOR,
        0.033,
        0.158,
        "survey 3.3 % to Castera 2010 15.8 % (which also asks for the success rate)",
    ),
    (
        "incomplete",
        TE,
        OUTCOME == "incomplete",
        0.01,
        0.03,
        "survey: under 10 valid 2.1 %, fails in",
    ),
    ("unreliable", TE, OUTCOME == "unreliable", 0.024, 0.06, "survey: over 30 % in 2.4 % at least"),
    ("large-patient probe", TE, LARGE, 0.222, 0.282, "survey 25.2 %, within 3 points"),
    ("IQR 40 dB/m and over", TE, pl.col("attenuation_iqr_db_m") >= 40, 0.37, 0.43, "survey 40.0 %"),
    ("the same, standard", STANDARD, pl.col("attenuation_iqr_db_m") >= 40, 0.336, 0.396, "36.6 %"),
    ("the same, large", LARGE, pl.col("attenuation_iqr_db_m") >= 40, 0.44, 0.54, "survey 49.0 %"),
    (
        "IQR 30 dB/m and over",
        TE,
        pl.col("attenuation_iqr_db_m") >= 30,
        0.596,
        0.656,
        "survey 62.6 %",
    ),
    ("exactly ten attempts", TE, pl.col("n_attempted") == 10, 0.19, 0.29, "survey 24.1 %"),
    ("twenty or more attempts", TE, pl.col("n_attempted") >= 20, 0.15, 0.25, "survey 20.4 %"),
    (
        "fasted under 3 h",
        TE,
        pl.col("fasting_hours") < 3,
        0.02,
        0.065,
        "survey 257 of 5,987 = 4.3 %",
    ),
    (
        "2D-SWE failed",
        pl.col("technique") == "2D-SWE",
        OUTCOME == "failed",
        0.007,
        0.039,
        "Kim et al., Korean J Radiol 2019: 2.3 % (1.3 to 3.9); about 700 exams here",
    ),
]


@pytest.mark.parametrize(("name", "exams", "what", "low", "high", "source"), SHARES)
def test_share_is_in_line_with_published_figure(
    demo: Demo, name: str, exams: pl.Expr, what: pl.Expr, low: float, high: float, source: str
) -> None:
    share = demo.quiet_year.filter(exams).select(what.mean()).item()
    assert low <= share <= high, f"{name}: {share:.4f}; {source}"


QUANTILES = [
    # name, of which exams, value, quantile, published, tolerance
    ("stiffness, kPa", TE, pl.col("stiffness_kpa"), 0.05, 3.1, 0.4),
    ("stiffness, kPa (survey 4.9; a clinic sees more)", TE, pl.col("stiffness_kpa"), 0.5, 5.4, 0.6),
    ("attenuation, dB/m", TE, pl.col("attenuation_db_m"), 0.05, 159.0, 10.0),
    ("attenuation, dB/m", TE, pl.col("attenuation_db_m"), 0.5, 255.0, 8.0),
    ("attenuation, dB/m", TE, pl.col("attenuation_db_m"), 0.95, 371.0, 20.0),
    ("attenuation by the standard probe", STANDARD, pl.col("attenuation_db_m"), 0.5, 238.0, 12.0),
    ("IQR/median", IN_KPA, RATIO, 0.5, 0.135, 0.010),
    ("IQR/median", IN_KPA, RATIO, 0.9, 0.244, 0.015),
]


@pytest.mark.parametrize(
    ("name", "exams", "value", "quantile", "published", "tolerance"), QUANTILES
)
def test_distribution_is_in_line_with_survey(
    demo: Demo,
    name: str,
    exams: pl.Expr,
    value: pl.Expr,
    quantile: float,
    published: float,
    tolerance: float,
) -> None:
    """Survey: 5th, 50th, 95th of stiffness and attenuation, 50th and 90th of IQR/median."""
    found = demo.quiet_year.filter(exams).select(value.quantile(quantile)).item()
    assert found == pytest.approx(published, abs=tolerance), name


# Castera et al., Hepatology 2010, first exams: odds ratios with 95 % intervals.
ODDS = [
    ("body-mass index over 30", pl.col("bmi_kg_m2") > 30, POOR, 2.8, 4.0),
    ("age over 52", pl.col("age_years") > 52, POOR, 1.6, 2.1),
    ("female", pl.col("sex") == "female", OUTCOME == "unreliable", 1.2, 1.6),
    ("failure, age over 52", pl.col("age_years") > 52, OUTCOME == "failed", 1.6, 3.2),
]


@pytest.mark.parametrize(("name", "group", "what", "low", "high"), ODDS)
def test_odds_ratio_is_in_line_with_castera_2010(
    demo: Demo, name: str, group: pl.Expr, what: pl.Expr, low: float, high: float
) -> None:
    """10 % beyond the published interval is allowed: the demo's year has its own scatter."""
    exams = demo.quiet_year.filter(TE & (pl.col("probe") != "paediatric"))
    inside, outside = (
        exams.filter(part).select((what.mean() / (1 - what.mean())).alias("odds")).item()
        for part in (group, ~group)
    )
    assert 0.9 * low <= inside / outside <= 1.1 * high, name


# Counted from the open survey: share of the large-patient probe by body-mass index.
PROBE_BY_BMI = [(0, 25, 0.030), (25, 30, 0.112), (30, 35, 0.366), (35, 40, 0.661), (40, 99, 0.898)]


@pytest.mark.parametrize(("low", "high", "published"), PROBE_BY_BMI)
def test_probe_follows_body_mass_index(
    demo: Demo, low: float, high: float, published: float
) -> None:
    group = pl.col("bmi_kg_m2").is_between(low, high, closed="left")
    share = demo.quiet_year.filter(TE & group).select((pl.col("probe") == "large-patient").mean())
    assert share.item() == pytest.approx(published, abs=0.05)


def test_large_patient_exams_are_poor_more_often(demo: Demo) -> None:
    """Survey: under 10 valid 6.0 against 0.8 %, IQR/median over 30 % 6.9 against 0.8 %."""
    for outcome in ("incomplete", "unreliable"):
        large, standard = (
            demo.quiet_year.filter(probe).select((outcome == OUTCOME).mean()).item()
            for probe in (LARGE, STANDARD)
        )
        assert large > 1.5 * standard, outcome


def test_scatter_within_a_patient_is_in_line_with_published_figure(demo: Demo) -> None:
    """Three repeats in 39 people: root-mean-square CV 11.1 % (Serra et al., Hepat Med 2020)."""
    pairs = (
        demo.quiet_year.filter(STANDARD & (OUTCOME == "reliable") & ~pl.col("is_copied"))
        .sort("exam_at")
        .group_by("patient_no")
        .agg(pl.col("stiffness_kpa").log().diff().drop_nulls().alias("step"))
        .explode("step")
        .drop_nulls()
    )
    assert pairs.height > 500
    assert pairs["step"].std() / 2**0.5 == pytest.approx(0.111, abs=0.015)


def test_preparation_is_recorded_in_most_exams(demo: Demo) -> None:
    """About 95 % recorded: setting of the scenario, no source."""
    known = pl.col("fasting_hours").is_not_null() | pl.col("fasting_stated").is_not_null()
    assert demo.quiet_year.select(known.mean()).item() == pytest.approx(0.95, abs=0.01)
