"""The chart view's points and its finding in words, for each state of the last point."""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from dashboard.components.charts import chart_figure, last_points_table, points_table
from dashboard.figures import control_chart
from qa.model.equipment_schemas import EQUIPMENT_EVENTS
from qa.model.months import add_months
from qa.views.chart import chart_view
from qa.views.chart_words import other_breaks
from tests.pages.sample_counts import LAST, SECOND_SET_FROM
from tests.pages.sample_published import empty_published, sample_published
from tests.pages.walk import text

CHART = {"unit_kind": "site", "unit_id": "S1", "measure_id": "MSR-001", "last_month": LAST}


def with_last_point(**changes):
    """The sample, with the last point of Alder Sound's unreliable exams changed."""
    published = sample_published()
    is_last = (
        (pl.col("unit_id") == "S1")
        & (pl.col("measure_id") == "MSR-001")
        & (pl.col("month") == LAST)
    )
    points = published.frame("chart_points")
    changed = points.with_columns(
        pl.when(is_last).then(pl.lit(value, dtype=points.schema[name])).otherwise(name).alias(name)
        for name, value in changes.items()
    )
    return published.with_frame("chart_points", changed)


@pytest.mark.parametrize(
    ("changes", "finding"),
    [
        (
            {"value": 0.06, "centre": 0.05, "state": "steady"},
            "Unreliable exams: steady, 6.0 % with 5.0 % expected",
        ),
        (
            {"value": 0.16, "centre": 0.05, "state": "look"},
            "Unreliable exams: 16.0 %, 5.0 % expected",
        ),
        (
            {"value": 0.09, "centre": 0.05, "state": "watch"},
            "Unreliable exams: 9.0 %, to watch, 5.0 % expected",
        ),
        (
            {"n": 4, "state": "few"},
            "Unreliable exams: too few exams for a verdict (4); "
            "the last three months together: 27 of 311",
        ),
        (
            {"n": 0, "value": None},
            "Unreliable exams: too few exams for a verdict (0); "
            "the last three months together: 27 of 307",
        ),
        ({"value": 0.06, "centre": None}, "Unreliable exams: 6.0 %, no baseline yet"),
        (
            {"value": 0.06, "phase": "baseline"},
            "Unreliable exams: 6.0 %, the baseline is still being set",
        ),
    ],
)
def test_chart_view_finding_says_the_last_points_state(changes, finding):
    assert chart_view(with_last_point(**changes), **CHART).finding == finding


def test_chart_view_with_a_signal_says_since_when():
    view = chart_view(sample_published(), **CHART | {"unit_kind": "operator", "unit_id": "31"})
    assert "since July 2026, 5.0 % expected" in view.finding
    assert view.unit_name == "Operator 31 (Eider Point)"


def test_chart_view_without_points_says_no_exams():
    view = chart_view(empty_published(), **CHART)
    assert view.points == ()
    assert view.finding == "Unreliable exams: no exams in October 2026"
    assert view.baseline_text == "No baseline yet."


@pytest.mark.parametrize(("months", "first"), [(1, LAST), (12, date(2025, 11, 1))])
def test_chart_view_counts_months_with_the_last_included(months, first):
    view = chart_view(sample_published(), **CHART, months=months)
    assert view.points[0].month == first
    assert len(view.points) == months


def test_chart_view_marks_where_another_criteria_set_begins():
    assert chart_view(sample_published(), **CHART).criteria_breaks == (SECOND_SET_FROM,)


def test_chart_view_names_its_baseline_with_n():
    view = chart_view(sample_published(), **CHART)
    (row,) = (
        sample_published()
        .frame("baselines", unit_id="S1", measure_id="MSR-001", unit_kind="site")
        .to_dicts()
    )
    assert view.baseline_text == (
        f"Baseline Nov 24 to Oct 25: {100 * row['n_events'] / row['n']:.1f} % "
        f"of {row['n']:,} exams."
    )


def test_chart_of_a_measure_of_rows_speaks_of_rows():
    view = chart_view(sample_published(), **{**CHART, "measure_id": "MSR-014"})
    assert view.noun == "row"
    text = " ".join([view.finding, view.why_chart, view.baseline_text])
    assert "rows" in text
    assert "exam" not in text


def test_tables_of_a_measure_of_rows_count_rows():
    rows = chart_view(sample_published(), **{**CHART, "measure_id": "MSR-014"})
    exams = chart_view(sample_published(), **CHART)
    assert '"Rows"' in str(points_table(rows).to_plotly_json()).replace("'", '"')
    told = str(last_points_table([rows, exams], name=lambda view: view.measure_title))
    assert f"{rows.points[-1].n:,} rows" in told
    assert f"{exams.points[-1].n:,} exams" not in told


def test_chart_view_says_in_control_but_off_target():
    point = {"target": 0.01, "target_verdict": "in control but off target", "state": "steady"}
    shown = chart_view(with_last_point(**point), **CHART)
    assert "in control but off target" in shown.finding
    assert shown.finding.endswith("target 1.0 %")
    assert shown.points[-1].target == 0.01


def test_chart_view_says_off_target_beside_what_the_limits_say():
    point = {"target": 0.01, "target_verdict": "off target", "state": "watch"}
    shown = chart_view(with_last_point(**point), **CHART)
    assert "to watch" in shown.finding
    assert shown.finding.endswith(", off target (1.0 %)")


def test_chart_view_breaks_where_other_devices_or_a_new_baseline_count():
    last = chart_view(sample_published(), **CHART).points[-1]
    months = [add_months(LAST, number) for number in (-2, -1, 0)]
    later = replace(last, month=months[1], equipment_from=months[1])
    again = replace(later, month=months[2], baseline_id="new", phase="baseline")
    found = other_breaks([replace(last, month=months[0]), later, again])
    assert found == ((months[1], "other devices"), (months[2], "new baseline"))


UPDATED = {"device_id": "d1", "entry_no": 1, "site_id": "S1", "probe": "", "event": "update"}


def with_event(event_on: date, signed_on: date | None):
    row = UPDATED | {"event_on": event_on, "signed_on": signed_on}
    frame = pl.DataFrame([row], schema=EQUIPMENT_EVENTS.to_polars())
    return sample_published().with_frame("equipment_events", frame)


@pytest.mark.parametrize(
    ("event_on", "signed_on", "drawn"),
    [
        (date(2026, 9, 10), None, (date(2026, 9, 10), date(2026, 10, 31))),
        (date(2026, 9, 10), date(2026, 9, 20), (date(2026, 9, 10), date(2026, 9, 20))),
        (date(2020, 1, 1), date(2026, 9, 20), (date(2024, 11, 1), date(2026, 9, 20))),
        (date(2020, 1, 1), date(2020, 2, 1), None),
        (date(2026, 9, 10), date(2026, 9, 10), None),
        (date(2026, 11, 1), None, None),
    ],
)
def test_chart_marks_exams_between_an_event_and_its_sign_off(event_on, signed_on, drawn):
    published = with_event(event_on, signed_on)
    measure = published.definitions.measure_by_key("stiffness_raised").id
    found = chart_view(published, **CHART | {"measure_id": measure}).unsigned
    assert [(one.draw_from, one.draw_to) for one in found] == ([drawn] if drawn else [])
    assert chart_view(published, **CHART).unsigned == ()  # Unreliable exams: no device in it.
    other = chart_view(published, **CHART | {"measure_id": measure, "unit_id": "S2"})
    assert other.unsigned == ()


def test_unsigned_chart_is_drawn_with_a_bar_and_said_in_words():
    published = with_event(date(2026, 9, 10), None)
    measure = published.definitions.measure_by_key("stiffness_raised").id
    view = chart_view(published, **CHART | {"measure_id": measure})
    bars = [one for one in control_chart(view)["layout"]["shapes"] if one.get("y0") == 0.97]
    assert [one["x0"] for one in bars] == [date(2026, 9, 10)]
    assert view.unsigned[0].text == (
        "d1 was not signed off from 2026-09-10 on, after the update: exams on it are marked."
    )
    shown = chart_figure(view, csv="/c", methods="/m")
    assert "Bar at the top: d1 was not signed off" in text(shown)
