"""A series drawn as the chart that fits it or as another: choice, units, what it rests on."""

from dataclasses import replace
from datetime import UTC, datetime

import polars as pl
import pytest

from dashboard.drawn import drawn_chart, number_words
from qa.charts.kinds import CHART_KINDS, Quantity, kinds_for
from qa.model.months import add_months
from qa.model.schemas import BASELINES
from qa.views.drawn import CONTINUOUS_IDS, drawn_view
from qa.views.drawn_choice import DrawChoice, find_limits, find_rules, switched
from tests.pages.sample_counts import LAST, SECOND_SET_FROM
from tests.pages.sample_published import empty_published, sample_published

SHARE_KINDS = [kind.code for kind in kinds_for(Quantity.SHARE)]


def view_of(
    series_id="MSR-001", kind=None, published=None, unit=("operator", "31"), months=24, **choice
):
    return drawn_view(
        published or sample_published(),
        unit_kind=unit[0],
        unit_id=unit[1],
        series_id=series_id,
        last_month=LAST,
        months=months,
        choice=DrawChoice(kind, **choice),
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


@pytest.mark.parametrize(
    ("text", "width"),
    [
        ("3s", 3.0),
        ("2.5s", 2.5),
        ("95p", 1.959964),
        ("99.8p", 3.090232),
        ("0.5s", None),
        ("7s", None),
        ("100p", None),
        ("x", None),
    ],
)
def test_find_limits_reads_sigmas_and_per_cents(text, width):
    """Normal quantiles of any printed table: 1.960 and 3.090."""
    assert find_limits(text) == (width if width is None else pytest.approx(width, abs=1e-6))


def test_find_rules_knows_published_rules_only():
    assert find_rules("none") == ()
    assert find_rules("western-electric-2,nelson-3") == ("western-electric-2", "nelson-3")
    assert find_rules("house-rule-1") is None
    assert switched(("nelson-3",), "nelson-3") == "none"
    assert switched((), "nelson-3") == "nelson-3"


def with_baselines(*spans):
    """The sample with baselines of operator 31 under the newest criteria set: (from, to, set)."""
    published = sample_published()
    rows = published.frame("baselines").head(1)
    found = [
        rows.with_columns(
            baseline_id=pl.lit(f"b{number}"),
            unit_kind=pl.lit("operator"),
            unit_id=pl.lit("31"),
            measure_id=pl.lit("MSR-001"),
            criteria_id=pl.lit(published.network.criteria[-1].id),
            from_month=pl.lit(add_months(SECOND_SET_FROM, first)),
            to_month=pl.lit(add_months(SECOND_SET_FROM, last)),
            judges_from=pl.lit(add_months(SECOND_SET_FROM, first) if number else None, pl.Date),
            removed_months=pl.lit([f"{add_months(SECOND_SET_FROM, first):%Y-%m}"]),
            version_no=pl.lit(number + 1, pl.Int64),
            set_at=pl.lit(datetime(2026, 1, 1 + number, tzinfo=UTC)),
        )
        for number, (first, last) in enumerate(spans)
    ]
    frames = published.frames | {"baselines": BASELINES.conform(pl.concat(found))}
    return replace(published, frames=frames)


def test_drawn_view_keeps_each_of_two_baselines_for_its_own_months():
    view = view_of(kind="p", pool="month", published=with_baselines((0, 2), (4, 6)))
    assert [one.part for one in view.points] == [0] * 4 + [1] * (len(view.points) - 4)
    assert [one.begins for one in view.points if one.begins] == ["baseline"]
    assert [one.is_removed for one in view.points[:6]] == [True, *[False] * 3, True, False]
    assert len({one.centre for one in view.points}) == 2
    assert len(view.baselines) == 2
    assert "Taken out" in view.baselines[1]
    figure = drawn_chart(view)
    assert next(one for one in figure["data"] if one["mode"] != "lines")["y"][4] is None


@pytest.mark.parametrize("kind", ["p", "np"])
def test_drawn_view_limits_follow_the_width_that_is_asked_for(kind):
    published = with_baselines((0, 3))
    narrow, wide = (
        view_of(kind=kind, limits=text, pool="month", published=published).points
        for text in ("2s", "3s")
    )
    at = [i for i, one in enumerate(wide) if one.ucl is not None and not one.is_baseline]
    assert at
    assert all((narrow[i].ucl or 0) <= (wide[i].ucl or 0) for i in at)
    chosen = {text: is_here for text, _, is_here in view_of(kind=kind, limits="2s").limit_options}
    assert (chosen["2s"], chosen["3s"]) == (True, False)


def test_drawn_view_marks_run_rules_on_a_chart_of_shares():
    view = view_of(kind="p", rules="western-electric-4", published=with_baselines((0, 3)))
    assert [one.is_on for one in view.rule_options if one.key == "western-electric-4"] == [True]
    assert all(set(one.rules) <= {"western-electric-4"} for one in view.points)
    assert "with Western Electric 4" in view.arl_text


@pytest.mark.parametrize("kind", ["ewma", "cusum", "g"])
def test_drawn_view_offers_no_run_rules_where_points_hang_on_each_other(kind):
    assert view_of(kind=kind).rule_options == ()


def test_drawn_view_puts_months_together_where_they_are_asked_to():
    months, quarters = (view_of(kind="p", pool=pool) for pool in ("month", "quarter"))
    assert len(quarters.points) < len(months.points)
    assert sum(one.n for one in quarters.points) == sum(one.n for one in months.points)


def test_drawn_view_says_how_often_the_chart_as_drawn_calls():
    view = view_of(kind="p", published=with_baselines((0, 3)))
    assert "it calls by chance once in about" in view.arl_text
    assert view_of(kind="p").arl_text == "How often it calls by chance is not known here."
