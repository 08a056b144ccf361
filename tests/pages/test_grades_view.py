"""The Grades view: distributions add up, cautions and table id are there."""

from datetime import date

import polars as pl
import pytest
from statsmodels.stats.proportion import proportion_confint

from qa.model.definitions import GRADE_CAUTION
from qa.views.grades import grades_view
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import empty_published, sample_published


def test_grades_view_carries_caution_table_source_and_confidence():
    view = grades_view(sample_published(), month=LAST)
    assert view.caution == GRADE_CAUTION
    assert view.table_text.startswith("Table lsm_baveno7.v1 for TE. Source: Baveno VII 2022")
    assert "(read second-hand)" in view.table_text


def test_grades_view_bars_equal_counts_by_hand_with_wilson_intervals():
    """Intervals against statsmodels' Wilson interval."""
    published = sample_published()
    rows = published.frame("grade_counts", site_id="S1", table_id="lsm_baveno7.v1").filter(
        pl.col("month") > date(2025, 10, 1)
    )
    (bar,) = [one for one in grades_view(published, month=LAST).by_site if one.unit_id == "S1"]
    by_hand = [rows.filter(pl.col("band") == band)["n_exams"].sum() for band in range(5)]
    assert list(bar.counts) == by_hand
    for k, lower, upper in zip(bar.counts, bar.lower, bar.upper, strict=True):
        assert (lower, upper) == pytest.approx(proportion_confint(k, bar.n, method="wilson"))


def test_grades_view_shares_add_to_one_and_sites_to_all():
    view = grades_view(sample_published(), month=LAST)
    everyone, *sites = view.by_site
    assert sum(everyone.shares) == pytest.approx(1)
    assert everyone.n == sum(bar.n for bar in sites)
    assert len(view.over_time) == 8


def test_grades_view_of_a_site_shows_its_history():
    view = grades_view(sample_published(), month=LAST, site_id="S4", table_id="att_karlas2017.v1")
    assert view.over_time_of == "Gannet Lane"
    assert view.chart is not None
    assert (view.chart.unit_id, view.chart.measure_title) == (
        "S4",
        "Attenuation above the lowest band",
    )


def test_grades_view_names_sites_whose_mix_has_moved():
    published = sample_published()
    is_moved = (pl.col("unit_id") == "S1") & (pl.col("measure_id") == "MSR-012")
    points = published.frame("chart_points").with_columns(
        state=pl.when(is_moved).then(pl.lit("look")).otherwise("state")
    )
    view = grades_view(published.with_frame("chart_points", points), month=LAST)
    assert view.answer == (
        "The stiffness mix has moved in October 2026 at one of four sites: Alder Sound."
    )
    assert view.subline.startswith("Above the lowest band: Alder Sound ")


def test_grades_view_without_bands_has_no_table():
    view = grades_view(empty_published(), month=LAST)
    assert view.table is None
    assert view.answer == "No bands to show up to October 2026."
