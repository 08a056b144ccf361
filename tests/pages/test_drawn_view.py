"""A series drawn as the chart that fits it or as another: choice, units, what it rests on."""

import polars as pl
import pytest

from dashboard.drawn import drawn_chart, number_words
from qa.charts.kinds import CHART_KINDS, Quantity, kinds_for
from qa.views.drawn import CONTINUOUS_IDS, drawn_view
from tests.pages.sample_counts import LAST, SECOND_SET_FROM
from tests.pages.sample_published import empty_published, sample_published

SHARE_KINDS = [kind.code for kind in kinds_for(Quantity.SHARE)]


def view_of(series_id="MSR-001", kind=None, published=None, unit=("operator", "31"), months=24):
    return drawn_view(
        published or sample_published(),
        unit_kind=unit[0],
        unit_id=unit[1],
        series_id=series_id,
        kind=kind,
        last_month=LAST,
        months=months,
    )


def test_drawn_view_offers_the_fitting_chart_first_and_all_that_can_be_drawn():
    options = view_of().options
    assert {code for code, *_ in options} == set(SHARE_KINDS)
    assert [is_here for _, _, is_here, _ in options] == [is_fit for *_, is_fit in options]
    assert options[0][3]


@pytest.mark.parametrize("kind", SHARE_KINDS)
def test_drawn_view_draws_every_kind_that_it_offers(kind):
    view = view_of(kind=kind)
    assert view.kind is CHART_KINDS[kind]
    assert view.reason.endswith(".")
    figure = drawn_chart(view)
    drawn = next(one for one in figure["data"] if one.get("mode") == "lines+markers")
    scale = 100 if view.unit == "%" else 1
    known = [point.value for point in view.points]
    assert drawn["y"] == [None if one is None else round(one * scale, 4) for one in known]


@pytest.mark.parametrize("kind", ["xbar", "nonsense", None])
def test_drawn_view_falls_back_to_the_chart_that_fits(kind):
    view = view_of(kind=kind)
    assert [is_fit for _, _, is_here, is_fit in view.options if is_here] == [True]


def test_drawn_view_never_joins_months_of_two_criteria_sets():
    assert min(point.day for point in view_of(kind="p").points) == SECOND_SET_FROM


def test_drawn_view_shows_the_months_asked_for():
    assert len(view_of(kind="p", months=3).points) == 3


def test_p_chart_of_the_view_has_the_counts_of_the_published_chart():
    published = sample_published()
    rows = published.frame(
        "chart_points", unit_kind="operator", unit_id="31", measure_id="MSR-001"
    ).filter(pl.col("month") >= SECOND_SET_FROM)
    points = view_of(kind="p").points
    assert [(point.day, point.n, point.value) for point in points] == rows.select(
        "month", "n", "value"
    ).rows()


@pytest.mark.parametrize("series_id", CONTINUOUS_IDS)
def test_continuous_measures_say_what_they_are_and_what_moves_them(series_id):
    view = view_of(series_id)
    assert "What moves it" in view.about
    assert view.kind.quantities != (Quantity.SHARE,)


def test_numbers_are_worded_in_the_unit_of_the_chart():
    assert number_words(view_of(kind="p"), 0.125) == "12.5 %"
    assert number_words(view_of(kind="np"), 3.0) == "3.00"
    assert number_words(view_of(kind="np"), None) == "–"


@pytest.mark.parametrize("series_id", ["MSR-001", "MSR-003", *CONTINUOUS_IDS])
def test_drawn_view_of_an_empty_snapshot_has_no_points(series_id):
    view = view_of(series_id, published=empty_published())
    assert view.points == ()
    assert view.warning
    assert drawn_chart(view)["layout"]["annotations"]


@pytest.mark.parametrize("kind", ["p", "np", "p-prime"])
def test_drawn_chart_of_rows_speaks_of_rows(kind):
    view = view_of("MSR-014", kind, unit=("site", "S1"))
    assert "exam" not in f"{view.unit} {view.reason} {view.kind.sentence}".lower()


@pytest.mark.parametrize("kind", ["ra-cusum", "vlad", "learning"])
def test_exam_by_exam_charts_need_a_model_or_a_newcomer(kind):
    view = view_of(kind=kind)
    assert kind not in {code for code, *_ in view.options}
    assert [is_fit for _, _, is_here, is_fit in view.options if is_here] == [True]
