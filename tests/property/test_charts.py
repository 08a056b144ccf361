"""The vectorised chart equals a plain one that walks through one series at a time."""

from math import log

import polars as pl
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.charts.control import chart_points
from tests.unit.charts.frames import SETTINGS, make_baseline, make_measure, make_series

BASELINE_MONTHS = 3
DECIDING = ["RUL-006", "RUL-007"]
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
            half = 3 * (centre * (1 - centre) / n) ** 0.5
        else:
            half = scipy.stats.binom.isf(scipy.stats.norm.sf(3), n, centre) / n - centre
        widened = half * (1 + n / base_n) ** 0.5  # the baseline's own error
        outside = events / n > min(centre + widened, 1.0)
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
    plain = points["rules"].list.set_difference(DECIDING).list.sort()
    assert plain.to_list() == expected
    assert_evidence_adds_up(points, base_events, 400)


def assert_evidence_adds_up(points, base_events, base_n):
    """RUL-006 by a plain walk along the limits that stand in the points."""
    share = (base_events + 0.5) / (base_n + 1)
    for part in points.filter(phase="monitoring").partition_by("unit_id"):
        sums, is_open, closing, seen, months = 0.0, False, 0.0, (0, 0), []
        for row in part.sort("month").iter_rows(named=True):
            x, n, limit = row["n_events"], row["n"], row["evidence_limit"]
            months.append(n)
            ratio = min(2.5, 1 + (5 / (max(sum(months) / len(months), 1.0) * share)) ** 0.5)
            odds = seen[0] / max(seen[1] - seen[0], 0.5) / (share / (1 - share))
            back = -evidence(x, n, share, max(ratio, min(odds, 20)))
            closing = max(closing + back, 0.0) if is_open else 0.0
            sums = min(max(sums + evidence(x, n, share, ratio), 0.0), limit)
            is_closed = is_open and sums < limit and closing >= log(10)
            is_open = not is_closed and (is_open or sums >= limit)
            sums = 0.0 if is_closed else sums
            seen = (seen[0] + x, seen[1] + n) if sums > 0 and not is_closed else (0, 0)
            assert abs(row["evidence"] - sums) < 1e-9
            assert ("RUL-006" in row["rules"]) == is_open


def evidence(x, n, share, ratio):
    """Of one month, for odds `ratio` times those of the share."""
    return x * log(ratio) - n * log(1 - share + ratio * share)
