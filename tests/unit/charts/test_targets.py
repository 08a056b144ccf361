"""Verdicts against a target: below, on and above; limits play no part in them."""

from datetime import date

import polars as pl
import pytest

from qa.charts.control import chart_points
from qa.charts.targets import add_targets, unknown_targets
from qa.model.definitions import Target
from qa.model.errors import NetworkFolderError
from qa.model.parsing import parse_network
from qa.model.schemas import CHART_POINTS
from tests.unit.charts.frames import SETTINGS, make_baseline, make_measure, make_series
from tests.unit.charts.test_equipment import TEXT


def verdicts(counts, target, *, better="lower", baseline=(20, 100), from_day=date(2025, 1, 1)):
    measure = make_measure(better)
    points = chart_points(
        make_series(counts),
        baselines=make_baseline(*baseline),
        measures=[measure],
        settings=SETTINGS,
    )
    wanted = [Target("unreliable", target, "invented", from_day)]
    found = add_targets(points, targets=wanted, measures=[measure])
    assert found.schema == CHART_POINTS.to_polars()
    return found["target_verdict"].to_list()


@pytest.mark.parametrize(
    ("better", "target", "expected"),
    [
        ("lower", 0.10, "in control but off target"),
        ("lower", 0.20, "on target"),
        ("lower", 0.30, "on target"),
        ("higher", 0.10, "on target"),
        ("higher", 0.30, "in control but off target"),
        ("neither", 0.10, "in control but off target"),
        ("neither", 0.20, "on target"),
    ],
)
def test_add_targets_judges_the_bad_side_by_the_interval_of_a_year(better, target, expected):
    """20 of 100 in each of four months: 80 of 400, Wilson 95 % 16.4 to 24.2 %."""
    assert verdicts([(20, 100)] * 4, target, better=better)[-1] == expected


def test_add_targets_of_a_month_out_of_control_is_plainly_off():
    assert verdicts([(20, 100)] * 3 + [(60, 100)], 0.1)[-1] == "off target"


def test_add_targets_says_where_exams_are_too_few():
    assert verdicts([(1, 4)], 0.1)[-1] == "too few exams to say"


def test_add_targets_holds_nothing_against_months_before_it_was_set():
    found = verdicts([(20, 100)] * 4, 0.1, from_day=date(2025, 3, 15))
    assert found[:2] == [None, None]
    assert None not in found[2:]


def test_add_targets_keeps_order_and_rows_without_targets():
    measure = make_measure()
    points = chart_points(
        make_series([(2, 40)] * 4),
        baselines=make_baseline(6, 120),
        measures=[measure],
        settings=SETTINGS,
    )
    assert add_targets(points, targets=[], measures=[measure]) is points
    wanted = [Target("MSR-001", 0.1, "invented", date(2025, 1, 1))]
    found = add_targets(points.reverse(), targets=wanted, measures=[measure])
    assert found["month"].to_list() == points.reverse()["month"].to_list()
    assert (found["target"] == 0.1).all()


def test_unknown_targets_names_what_no_measure_is_called():
    wanted = [Target(name, 0.1, "x", date(2025, 1, 1)) for name in ("MSR-001", "unreliable", "no")]
    assert unknown_targets(wanted, [make_measure()]) == ["no"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '[[targets]]\nmeasure = "failed"\nvalue = 8\nsource = "x"\nfrom = 2026-01-01',
            "0.1 is 10",
        ),
        ('[[targets]]\nmeasure = "failed"\nvalue = 0.1\nfrom = 2026-01-01', "source"),
        ("[settings]\nlimit_sigmas = 0.0", "1 to 6"),
    ],
)
def test_parse_network_refuses_a_target_or_width_that_cannot_be(text, said):
    with pytest.raises(NetworkFolderError) as problem:
        parse_network(f"{TEXT}\n{text}\n", where="network.toml")
    assert said in problem.value.message


def test_parse_network_reads_a_target():
    text = '[[targets]]\nmeasure = "failed"\nvalue = 0.05\nsource = "board"\nfrom = 2026-01-01\n'
    assert parse_network(TEXT + text, where="x").targets == (
        Target("failed", 0.05, "board", date(2026, 1, 1)),
    )


def test_chart_points_have_no_verdict_without_a_target():
    points = chart_points(
        make_series([(2, 40)] * 4),
        baselines=make_baseline(6, 120),
        measures=[make_measure()],
        settings=SETTINGS,
    )
    assert points.select(pl.col("target", "target_verdict").null_count()).row(0) == (4, 4)
