import polars as pl
import pytest

from qa.charts.compare import funnel_points
from qa.charts.control import chart_points
from qa.model.schemas import CHART_POINTS, FUNNEL_POINTS, SIGNALS
from qa.signals import find_signals
from tests.unit.charts.frames import SETTINGS, make_baseline, make_measure, make_series, month

NAMES = {
    ("network", "network"): "Invented Network",
    ("site", "eider"): "Eider Point",
    ("operator", "op-1"): "Operator 1 (Eider Point)",
    ("operator", "op-2"): "Operator 2 (Eider Point)",
}
BASE = [(2, 40)] * 3
CALM_PEERS = [make_series([(6, 120)], unit=f"operator:peer-{n}", first=9) for n in range(12)]


def signal(values=None, baselines=None, funnel=None, better="lower", **changes):
    measures = [make_measure(better, **changes)]
    points = CHART_POINTS.empty()
    if values is not None:
        points = chart_points(values, baselines=baselines, measures=measures, settings=SETTINGS)
    return find_signals(
        points,
        FUNNEL_POINTS.empty() if funnel is None else funnel,
        measures=measures,
        names=NAMES,
        operator_sites={"op-1": "eider", "op-2": "eider"},
    )


def compare(values, better="lower", unit_kind="operator"):
    return funnel_points(
        values, measures=[make_measure(better)], unit_kind=unit_kind, to_month=month(9), months=3
    )


def test_find_signals_of_no_rows_is_empty_with_full_schema():
    signals = signal()
    assert signals.schema == SIGNALS.to_polars()
    assert signals.is_empty()


def test_find_signals_of_a_steady_chart_is_empty():
    assert signal(make_series([*BASE, (1, 20)]), make_baseline(5, 100)).is_empty()


def test_find_signals_leaves_unwatched_measures_out():
    values, baseline = make_series([*BASE, (11, 20)]), make_baseline(5, 100)
    assert signal(values, baseline).height == 1
    assert signal(values, baseline, is_watched=False).is_empty()


def test_find_signals_words_a_single_month():
    row = signal(make_series([*BASE, (10, 20)]), make_baseline(5, 100)).row(0, named=True)
    assert row["finding"] == (
        "Operator 1 (Eider Point): unreliable exams rose from 5.0 to 50.0 % in April 2025"
    )
    assert row["evidence"] == (
        "April 2025: 10 of 20 exams (50.0 %), above the upper limit of 26.9 % (RUL-001). "
        "So far beyond the limit that chance hardly ever does it (RUL-007). "
        "Expected: 5.0 %, from its own frozen baseline."
    )
    assert row["suggestion"] == "Sit in on a few exams. Work on steadiness and breath hold."
    assert row["signal_id"] == "2025-04.operator.op-1.MSR-001.plain.v1"


def test_find_signals_counts_exams_at_stake_since_the_change():
    """20 exams expected to hold 1, held 11: 10 at stake; Wilson of 11/20 is 34.2 to 74.2 %."""
    row = signal(make_series([*BASE, (11, 20)]), make_baseline(5, 100)).row(0, named=True)
    assert (row["n_events"], row["n"], row["direction"]) == (11, 20, "higher")
    assert (row["expected"], row["at_stake"]) == pytest.approx((1.0, 10.0))
    assert row["at_stake_lower"] == pytest.approx(20 * 0.3421 - 1, abs=0.01)
    assert row["at_stake_upper"] == pytest.approx(20 * 0.7418 - 1, abs=0.01)


def test_find_signals_turns_stakes_where_more_is_better():
    """19 of 20 expected, 9 found: 10 at stake, and the word is fell."""
    row = signal(make_series([*BASE, (9, 20)]), make_baseline(95, 100), better="higher").row(
        0, named=True
    )
    assert row["direction"] == "lower"
    assert (row["expected"], row["at_stake"]) == pytest.approx((19.0, 10.0))
    assert row["at_stake_lower"] < 10.0 < row["at_stake_upper"]
    assert "fell from 95.0 to 45.0 %" in row["finding"]
    assert "below the lower limit of 73.1 %" in row["evidence"]


def test_find_signals_begins_where_the_evidence_began_to_rise():
    """Months 5 to 8 are high and only together beyond chance; month 5 is where it began. The
    evidence of 17 events in 120 exams at 18.5 / 361 is 17 ln 2.5 - 120 ln 1.0769 = 6.69."""
    bad = [(1, 30), (3, 30), (5, 30), (4, 30), (5, 30)]
    row = signal(make_series([*BASE, *bad]), make_baseline(18, 360)).row(0, named=True)
    assert (row["month"], row["since_month"]) == (month(8), month(5))
    assert (row["n_events"], row["n"]) == (17, 120)
    assert "rose from 5.0 to 14.2 % since May 2025" in row["finding"]
    assert row["evidence"].startswith(
        "May to August 2025: 17 of 120 exams (14.2 %), where 6.0 were expected; the evidence for "
        "a lasting change has reached its limit of "
    )
    assert "(RUL-006). June to August 2025: 14 of 90 exams (15.6 %)" in row["evidence"]
    assert row["evidence"].endswith("Expected: 5.0 %, from its own frozen baseline.")


def test_find_signals_carries_an_item_on_until_good_months_close_it():
    bad = [(11, 20), (6, 20), (2, 20), (6, 20)]
    values = make_series([*BASE, *bad, *[(0, 20)] * 12, (11, 20)])
    signals = signal(values, make_baseline(5, 100))
    first, second = signals.filter(pl.col("month") <= month(14)), signals.tail(1)
    assert first["month"].head(4).to_list() == [month(number) for number in (4, 5, 6, 7)]
    assert first["since_month"].unique().to_list() == [month(4)]
    assert first["opened_month"].unique().to_list() == [month(4)]
    assert first["item_id"].unique().to_list() == ["2025-04.operator.op-1.MSR-001.plain.v1.higher"]
    assert second["month"].to_list() == second["opened_month"].to_list() == [month(20)]


def test_find_signals_keeps_an_open_item_in_a_good_month_and_says_the_sums():
    """None of 4 exams is too little to close it; the item still says higher, though the month is
    not: 35 % were seen, odds 9.3 times those expected; 4 ln 1.45 = 1.50 is less than ln 10."""
    values = make_series([*BASE, (7, 20), (7, 20), (0, 4)], first=1)
    row = signal(values, make_baseline(5, 100)).tail(1).row(0, named=True)
    assert (row["month"], row["direction"]) == (month(6), "higher")
    assert (row["n_events"], row["n"]) == (14, 44)
    assert row["at_stake"] == pytest.approx(14 - 2.2)


def test_find_signals_keeps_an_item_through_a_month_without_exams():
    values = make_series([*BASE, (11, 20), (0, 0), (11, 20)])
    signals = signal(values, make_baseline(5, 100))
    assert signals["month"].to_list() == [month(4), month(5), month(6)]
    assert signals["item_id"].n_unique() == 1
    assert signals["last_seen_month"].to_list() == [month(4), month(4), month(6)]
    assert signals["evidence"][1].startswith("No exams of May 2025 have come; as of April 2025.")
    assert "April 2025: 11 of 20 exams" in signals["evidence"][1]


@pytest.mark.parametrize(("n_silent", "n_listed"), [(1, 2), (2, 3), (3, 3)])
def test_find_signals_lets_a_silent_unit_go_after_two_months(n_silent, n_listed):
    silent = make_series([*BASE, (11, 20), *[(0, 0)] * n_silent])
    others = make_series([*BASE, *[(0, 20)] * (n_silent + 1)], unit="operator:op-2")
    baselines = [make_baseline(5, 100), make_baseline(5, 100, unit="operator:op-2")]
    signals = signal(pl.concat([silent, others]), pl.concat(baselines))
    assert signals.height == n_listed


def test_find_signals_of_a_newcomer_names_the_networks_share():
    network = make_baseline(60, 1200, unit="network:network")
    row = signal(make_series([(9, 30)], first=5), network).row(0, named=True)
    assert row["finding"].endswith("unreliable exams 30.0 % in May 2025, 5.0 % in the network")
    assert "as it has none of its own yet" in row["evidence"]


@pytest.mark.parametrize(("operator_events", "explained"), [(10, False), (11, True), (12, True)])
def test_find_signals_lets_an_operator_with_half_stand_for_the_site(operator_events, explained):
    """Site: 2 of 40 expected, 20 found, 18 at stake. Operator: 1.5 of 20 expected (baseline
    7.5 %), so that 10 found are 8.5 at stake and 11 found are 9.5; half of the site's is 9."""
    site = make_series([*BASE, (20, 40)], unit="site:eider")
    operator = make_series([*BASE, (operator_events, 20)])
    baselines = [make_baseline(10, 200, unit="site:eider"), make_baseline(15, 200)]
    signals = signal(pl.concat([site, operator]), pl.concat(baselines))
    by_kind = {row["unit_kind"]: row for row in signals.to_dicts()}
    assert by_kind["operator"]["rank"] in (1, 2)
    assert (by_kind["site"]["rank"] == 0) == explained
    operator_id = by_kind["operator"]["signal_id"]
    assert by_kind["site"]["explained_by"] == (operator_id if explained else None)


def test_find_signals_lets_no_operator_of_another_site_stand_for_it():
    site = make_series([*BASE, (14, 40)], unit="site:eider")
    operator = make_series([*BASE, (14, 40)], unit="operator:op-9", site="gannet")
    baselines = [
        make_baseline(10, 200, unit="site:eider"),
        make_baseline(10, 200, unit="operator:op-9"),
    ]
    signals = signal(pl.concat([site, operator]), pl.concat(baselines))
    assert signals["explained_by"].to_list() == [None, None]
    assert sorted(signals["rank"].to_list()) == [1, 2]


def test_find_signals_places_operators_without_a_site_by_their_home():
    values = make_series([*BASE, (11, 20)], site=None)
    assert signal(values, make_baseline(5, 100))["site_id"].to_list() == ["eider"]


def test_find_signals_lets_an_explained_site_pass_its_cause_up_to_the_network():
    counts = [*BASE, (14, 40)]
    units = ["network:network", "site:eider", "operator:op-1"]
    values = pl.concat(make_series(counts, unit=unit) for unit in units)
    baselines = pl.concat(make_baseline(10, 200, unit=unit) for unit in units)
    signals = signal(values, baselines)
    operator = "2025-04.operator.op-1.MSR-001.plain.v1"
    assert dict(zip(signals["unit_kind"], signals["explained_by"], strict=True)) == {
        "operator": None,
        "site": operator,
        "network": operator,
    }
    assert signals["rank"].to_list() == [1, 0, 0]
    site = signals.filter(pl.col("unit_kind") == "site").row(0, named=True)
    assert site["suggestion"].startswith("Begin with Operator 1 (Eider Point)")


@pytest.mark.parametrize(("events", "explained"), [((8, 8, 8), True), ((8, 8, 0), False)])
def test_find_signals_lets_three_operators_together_stand_for_the_network(events, explained):
    """Network: 10 of 200 expected, 46 found, 36 at stake. Each operator: 1 of 20 expected, 8
    found, 7 at stake: three have 21 and so more than 18, two have 14."""
    units = [f"operator:op-{number}" for number in (4, 5, 6)]
    parts = [make_series([*BASE, (46, 200)], unit="network:network", site=None)]
    parts += [
        make_series([*BASE, (n, 20)], unit=unit, site=f"site of {unit}")
        for unit, n in zip(units, events, strict=True)
    ]
    baselines = [make_baseline(10, 200, unit=unit) for unit in ("network:network", *units)]
    network = signal(pl.concat(parts), pl.concat(baselines)).filter(
        pl.col("unit_kind") == "network"
    )
    assert network["explained_by"].is_not_null().to_list() == [explained]
    assert (network["rank"] == 0).to_list() == [explained]


def test_find_signals_ranks_each_month_by_exams_at_stake():
    values = pl.concat(
        [
            make_series([*BASE, (10, 20), (10, 20)]),
            make_series([*BASE, (12, 20), (0, 20)], unit="operator:op-2", site="gannet"),
        ]
    )
    baselines = pl.concat([make_baseline(5, 100), make_baseline(5, 100, unit="operator:op-2")])
    signals = signal(values, baselines)
    assert signals.select("month", "unit_id", "rank").rows() == [
        (month(4), "op-2", 1),
        (month(4), "op-1", 2),
        (month(5), "op-1", 1),
    ]


def test_find_signals_lists_a_unit_that_has_always_differed():
    values = pl.concat([make_series([(24, 120)], first=9), *CALM_PEERS])
    row = signal(funnel=compare(values)).row(0, named=True)
    assert (row["rules"], row["unit_id"], row["rank"]) == (["RUL-003"], "op-1", 1)
    assert (row["month"], row["since_month"]) == (month(9), month(7))
    assert row["finding"] == (
        "Operator 1 (Eider Point): unreliable exams 20.0 % over 3 months to September 2025, "
        "6.2 % over all operators"
    )
    assert "15.0 points more than the other 12 operators together" in row["evidence"]
    assert row["suggestion"].startswith("Compare patients and probes")


@pytest.mark.parametrize(("last_three", "is_listed"), [((1, 40), False), ((8, 40), True)])
def test_find_signals_lets_a_difference_that_is_over_rest(last_three, is_listed):
    """Twelve months at 20 % among peers at 5 %; the last three months at 2.5 or at 20 %."""
    counts = [(8, 40)] * 9 + [last_three] * 3
    own = make_series(counts, first=1)
    peers = [make_series([(2, 40)] * 12, unit=f"operator:peer-{n}") for n in range(12)]
    funnel = funnel_points(
        pl.concat([own, *peers]),
        measures=[make_measure()],
        unit_kind="operator",
        to_month=month(12),
        months=12,
    )
    assert funnel.filter(pl.col("unit_id") == "op-1")["state"].to_list() == ["look"]
    signals = signal(own, make_baseline(24, 120), funnel=funnel)
    assert signals["rules"].to_list() == ([["RUL-003"]] if is_listed else [])


def test_find_signals_forgives_what_units_differ_by_anyway():
    """Peers from 2 to 14 %: 15 % is outside the limits of chance and yet one of them."""
    spread = [2, 3, 4, 6, 8, 10, 14, 18, 24, 30, 36, 42]
    peers = [make_series([(n, 300)], unit=f"operator:peer-{n}", first=9) for n in spread]
    funnel = compare(pl.concat([make_series([(45, 300)], first=9), *peers]))
    assert funnel.filter(pl.col("unit_id") == "op-1")["state"].to_list() == ["look"]
    assert signal(funnel=funnel).is_empty()


def test_find_signals_joins_a_change_and_its_funnel_in_one_item():
    change = make_series([*BASE, *[(1, 30)] * 5, (24, 120)])
    funnel = compare(pl.concat([change, *CALM_PEERS]))
    signals = signal(change, make_baseline(18, 360), funnel=funnel)
    row = signals.filter(pl.col("month") == month(9)).row(0, named=True)
    assert {"RUL-001", "RUL-003", "RUL-006"} <= set(row["rules"])
    assert row["since_month"] == month(9)
    assert "It also differs from the other 12 operators" in row["evidence"]


def test_find_signals_sees_no_outlier_in_a_funnel_of_one_or_of_nothing():
    alone = compare(make_series([(60, 120)], first=9))
    never = compare(
        pl.concat([make_series([(0, 120)], first=9), *CALM_PEERS]).with_columns(
            n_events=pl.lit(0, dtype=pl.Int64)
        )
    )
    assert signal(funnel=alone).is_empty()
    assert signal(funnel=never).is_empty()


def test_find_signals_twice_gives_the_same_ids_whatever_the_order_of_rows():
    values = make_series([*BASE, (11, 20), (11, 20)])
    first = signal(values, make_baseline(5, 100))
    assert signal(values.reverse(), make_baseline(5, 100)).equals(first)
    assert first["signal_id"].n_unique() == first.height == 2
