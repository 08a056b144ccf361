"""The vectorised chart equals a plain one that walks through one series at a time."""

import polars as pl
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.charts.control import chart_points
from tests.unit.charts.frames import SETTINGS, make_baseline, make_measure, make_series

BASELINE_MONTHS = 3
COUNTS = st.tuples(st.integers(1, 60), st.floats(0, 0.35)).map(
    lambda pair: (round(pair[0] * pair[1]), pair[0])
)
SERIES = st.lists(COUNTS, min_size=BASELINE_MONTHS + 1, max_size=16)


def walk(counts, base_events, base_n):
    """Rules of each month of one series in plain Python; more is worse."""
    centre, rules, run = base_events / base_n, [], 0
    for place, (events, n) in enumerate(counts):
        if place < BASELINE_MONTHS:
            rules.append([])
            continue
        beyond = events / n > centre
        run = run + 1 if beyond else 0
        found = []
        if min(n * centre, n * (1 - centre)) >= 5:
            outside = events / n > centre + 3 * (centre * (1 - centre) / n) ** 0.5
        else:
            outside = scipy.stats.binom.sf(events - 1, n, centre) <= 0.00135
        if outside and events >= 2:
            found.append("RUL-001")
        if beyond and is_rare(counts, place, 3, 2, base_events, base_n):
            found.append("RUL-002")
        if run >= 8:
            found.append("RUL-004")
        if beyond and is_rare(counts, place, 6, 4, base_events, base_n):
            found.append("RUL-005")
        rules.append(found)
    return rules


def is_rare(counts, place, n_months, min_months, base_events, base_n):
    window = counts[max(BASELINE_MONTHS, place - n_months + 1) : place + 1]
    events, n = (sum(column) for column in zip(*window, strict=True))
    tail = scipy.stats.betabinom.sf(events - 1, n, base_events + 0.5, base_n - base_events + 0.5)
    return len(window) >= min_months and events >= 2 and tail <= 0.0025


@settings(max_examples=60, deadline=None)
@given(many=st.lists(SERIES, min_size=1, max_size=4), base_events=st.integers(1, 40))
def test_chart_points_equal_a_plain_walk(many, base_events):
    units = [f"operator:op-{number}" for number in range(len(many))]
    values = pl.concat(
        make_series(counts, unit=unit) for counts, unit in zip(many, units, strict=True)
    )
    baselines = pl.concat(make_baseline(base_events, 400, unit=unit) for unit in units)
    points = chart_points(values, baselines=baselines, measures=[make_measure()], settings=SETTINGS)
    expected = [rules for counts in many for rules in walk(counts, base_events, 400)]
    assert points["rules"].to_list() == expected
