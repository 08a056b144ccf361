"""The whole demo, from files to signals: what was planted is found, steady people left alone."""

from pathlib import Path

import polars as pl
import pytest

from demo_sites.truth import Truth, read_truth
from qa.stores.snapshots import Snapshot, open_current
from tests.planted.reading import months_to_signal, operator_drifts, touched_units

UNRELIABLE, INCOMPLETE, REPEATS, KEPT = "MSR-001", "MSR-002", "MSR-006", "MSR-008"
MONTHS_ALLOWED = 6

# Measures that large or ill patients move.
OF_PATIENTS = (UNRELIABLE, INCOMPLETE, "MSR-003", REPEATS, "MSR-010")


@pytest.fixture(scope="module")
def snapshot(published_demo: Path) -> Snapshot:
    return open_current(published_demo)


@pytest.fixture(scope="module")
def truth(published_demo: Path) -> Truth:
    return read_truth(published_demo)


def test_every_exam_sent_is_judged_or_taken_back_or_waits_with_a_reason(
    snapshot: Snapshot, truth: Truth
) -> None:
    waiting = snapshot.frame("quarantined")
    assert snapshot.frame("exams").height == truth.counting.height
    assert waiting.height == truth.waiting.height > 0
    assert waiting["codes"].list.len().min() == 1
    withdrawn = truth.facts["n_withdrawn"]
    assert truth.sent.height == truth.counting.height + waiting.height + withdrawn


def test_every_operator_drift_of_ten_points_is_signalled_within_six_months(
    snapshot: Snapshot, truth: Truth
) -> None:
    signals = snapshot.frame("signals", unit_kind="operator")
    drifts = operator_drifts(truth, at_least=0.10)
    assert len(drifts) >= 3
    found = {
        event.id: months_to_signal(signals, event, measure_ids=(UNRELIABLE, INCOMPLETE))
        for event in drifts
    }
    late = {name: n for name, n in found.items() if n is None or n >= MONTHS_ALLOWED}
    assert late == {}


@pytest.mark.parametrize(
    ("kind", "unit_kind", "measure_id"),
    [("repeats_until_reliable", "operator", REPEATS), ("fasting_lapse", "site", KEPT)],
)
def test_other_lapses_are_signalled_within_six_months(
    snapshot: Snapshot, truth: Truth, kind: str, unit_kind: str, measure_id: str
) -> None:
    signals = snapshot.frame("signals", unit_kind=unit_kind)
    for event in truth.of_kind(kind):
        months = months_to_signal(signals, event, measure_ids=(measure_id,))
        assert months is not None
        assert months < MONTHS_ALLOWED


def test_late_site_has_no_exams_in_the_last_month(snapshot: Snapshot, truth: Truth) -> None:
    (event,) = truth.of_kind("late_site")
    counts = snapshot.frame("monthly_counts", site_id=event.site_id)
    assert counts.filter(pl.col("month") >= event.start_month).height == 0
    assert counts.height > 0


def test_operators_without_an_event_are_seldom_on_the_list(
    snapshot: Snapshot, truth: Truth
) -> None:
    """New ranked items a month about units that nothing was planted on; small enough to be read."""
    touched = touched_units(truth)
    listed = snapshot.frame("signals").filter(
        (pl.col("rank") > 0)
        & (pl.col("unit_kind") != "network")
        & ~pl.col("unit_id").is_in(list(touched))
        & ~pl.col("site_id").is_in(list(touched))
    )
    started = listed.unique(["unit_kind", "unit_id", "measure_id", "since_month"])
    months = snapshot.frame("signals")["month"].n_unique()
    assert started.height / months <= 1.0


@pytest.mark.parametrize("kind", ["referral_bariatric", "grade_mix_referral"])
def test_other_patients_are_blamed_on_nobody(snapshot: Snapshot, truth: Truth, kind: str) -> None:
    """Neither on the site nor on an operator of it on whom nothing else was planted."""
    others = {event.target for event in truth.events if event.kind not in (kind, "late_site")}
    for event in truth.of_kind(kind):
        signals = snapshot.frame("signals", site_id=event.site_id).filter(
            pl.col("month") >= event.start_month,
            pl.col("measure_id").is_in(OF_PATIENTS),
            ~pl.col("unit_id").is_in(list(others)),
        )
        assert signals.select("signal_id", "finding").rows() == []


def test_models_of_expected_events_still_fit_after_their_own_months(snapshot: Snapshot) -> None:
    """Failed exams: nothing planted moves them but the wrong probe of one operator."""
    quality = snapshot.frame("risk_quality", model_id="MSR-003.common-practice.v1.M1")
    [since] = quality.filter(period="since").to_dicts()
    assert since["c_statistic"] > 0.62
    assert since["slope"] == pytest.approx(1.0, abs=0.25)


def test_no_chart_rule_raises_a_signal_inside_its_baseline(snapshot: Snapshot) -> None:
    keys = ["unit_kind", "unit_id", "measure_id", "criteria_id", "month"]
    points = snapshot.frame("chart_points").select(*keys, "phase")
    by_chart = snapshot.frame("signals").filter(
        pl.col("rules").list.set_difference(["RUL-003"]).list.len() > 0
    )
    phases = by_chart.join(points, on=keys)["phase"].unique().to_list()
    assert phases == ["monitoring"]
