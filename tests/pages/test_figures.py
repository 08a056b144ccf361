"""Charts as plain dicts: marks, gaps, scales; numbers come from the view unchanged."""

from dataclasses import replace
from datetime import date

import pytest

from dashboard.figures import control_chart, percent_range, point_text
from dashboard.funnels import funnel_chart
from dashboard.look import INK, LOOK
from qa.views.chart import chart_view
from qa.views.operators import operators_view
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import empty_published, sample_published


def drift():
    """Operator 31's unreliable exams."""
    return chart_view(
        sample_published(),
        unit_kind="operator",
        unit_id="31",
        measure_id="MSR-001",
        last_month=LAST,
    )


def values_trace(figure):
    (trace,) = [one for one in figure["data"] if one.get("mode") == "lines+markers"]
    return trace


def test_control_chart_marks_states_by_shape_and_one_colour():
    view = drift()
    marker = values_trace(control_chart(view))["marker"]
    by_state = {
        "look": ("diamond", LOOK),
        "watch": ("diamond-open", INK),
        "steady": ("circle", INK),
    }
    shown = list(zip(marker["symbol"], marker["color"], strict=True))
    expected = [by_state[point.state] for point in view.points]
    gap = len([point for point in view.points if point.month < date(2026, 1, 1)])
    assert shown[:gap] + shown[gap + 1 :] == expected


def test_control_chart_draws_values_in_percent():
    view = drift()
    shown = [one for one in values_trace(control_chart(view))["y"] if one is not None]
    assert shown == pytest.approx([100 * point.value for point in view.points], abs=0.0005)


def test_control_chart_does_not_join_criteria_sets_or_missing_months():
    view = drift()
    assert values_trace(control_chart(view))["x"].count(None) == 1
    holed = replace(view, points=view.points[:3] + view.points[5:])
    assert values_trace(control_chart(holed))["x"].count(None) == 2


def test_control_chart_labels_the_point_farthest_out_with_its_value():
    view = drift()
    worst = max(point.value for point in view.points if point.state == "look")
    labels = [note["text"] for note in control_chart(view)["layout"]["annotations"]]
    assert f"<b>{100 * worst:.1f} %</b>" in labels
    assert "baseline" in labels
    assert "rules: v2" in labels


def test_control_chart_without_points_says_so():
    view = replace(drift(), points=(), criteria_breaks=())
    (label,) = control_chart(view)["layout"]["annotations"]
    assert label["text"] == "No exams in this period"


def test_percent_range_of_high_shares_does_not_start_at_zero():
    view = drift()
    high = replace(
        view,
        points=tuple(
            replace(point, value=0.95, lcl=0.9, ucl=1.0, centre=0.95, state="steady")
            for point in view.points
        ),
    )
    low, top = percent_range([high])
    assert 85 < low < 90
    assert 100 <= top <= 101


def test_percent_range_leaves_out_limits_of_months_with_too_few_exams():
    view = drift()
    calm = [replace(one, value=0.05, lcl=0.0, ucl=0.1, state="steady") for one in view.points]
    few = replace(calm[0], ucl=0.9, state="few")
    ends = percent_range([replace(view, points=tuple(calm))])
    assert percent_range([replace(view, points=(few, *calm[1:]))]) == ends


def test_point_text_gives_interval_n_and_limits():
    point = replace(
        drift().points[0], value=0.1, lower=0.05, upper=0.2, n=50, n_events=5, centre=0.06,
        lcl=0.0, ucl=0.18, state="look", rules=("RUL-001",),
    )  # fmt: skip
    assert point_text(point).split("<br>")[0].endswith("10.0 % (5.0 to 20.0)")
    assert "5 of 50 exams" in point_text(point)
    assert "expected 6.0 %, limits 0.0 to 18.0" in point_text(point)
    assert point_text(point).endswith("look RUL-001")


def test_funnel_chart_names_only_notable_and_own_dots():
    view = operators_view(sample_published(), month=LAST, operator_id="11").funnel
    labels = [note["text"] for note in funnel_chart(view)["layout"]["annotations"]]
    named = {text for text in labels if text.startswith("Operator")}
    notable = {dot.name.split(" (")[0] for dot in view.dots if dot.state == "look" or dot.is_own}
    assert named == notable
    assert "Operator 11" in named


def test_funnel_chart_without_dots_says_that_nothing_is_compared():
    published = sample_published().with_frame(
        "funnel_points", empty_published().frame("funnel_points")
    )
    view = operators_view(published, month=LAST).funnel
    (label,) = funnel_chart(view)["layout"]["annotations"]
    assert label["text"] == "No comparison for this month"
