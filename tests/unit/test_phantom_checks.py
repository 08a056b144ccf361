"""Phantom checks: baseline, limits, rules, expiry, breaks, acceptance runs."""

from datetime import date, timedelta

import numpy as np
import pytest

from qa.drift.acceptance import compare_after
from qa.drift.phantom_checks import (
    Break,
    Certificate,
    Session,
    chart_checks,
    days_overdue,
    make_baseline,
)
from qa.drift.phantom_itself import find_phantom_moves
from qa.model.equipment_words import CheckRules

FIRST = date(2025, 1, 6)
RULES = CheckRules()
CERTIFICATE = Certificate(10.0, 0.4, date(2030, 1, 1))
# Ten means around 10 with standard deviation 0.1, and mean moving range 0.1778.
TEN = [10.0, 10.1, 9.9, 10.1, 9.9, 10.0, 10.15, 9.85, 10.0, 10.0]


def sessions(means, *, spread=0.1, first=FIRST):
    return [
        Session(no, first + timedelta(days=30 * (no - 1)), (mean - spread, mean, mean + spread))
        for no, mean in enumerate(means, start=1)
    ]


def states(means, *, certificate=CERTIFICATE, breaks=()):
    chart = chart_checks(sessions(means), certificate=certificate, breaks=breaks, rules=RULES)
    return [str(one.state) for one in chart.points]


def test_chart_of_nothing_is_empty():
    chart = chart_checks([], certificate=CERTIFICATE, breaks=(), rules=RULES)
    assert chart.points == ()
    assert chart.newest is None


def test_baseline_is_worked_by_hand():
    base = make_baseline(sessions(TEN))
    assert base.mean == pytest.approx(10.0)
    # Sum of squares 0.085: standard deviation sqrt(0.085 / 9). Steps add up to 1.4 over nine.
    assert base.sd == pytest.approx(np.sqrt(0.085 / 9))
    assert base.limits == pytest.approx((10 - 3 * 1.4 / 9 / 1.128379, 10 + 3 * 1.4 / 9 / 1.128379))
    assert base.within_sd == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("mean", "state"),
    [(10.0, "within limits"), (10.15, "within limits"), (10.25, "warning"), (10.35, "action")],
)
def test_later_session_is_held_against_the_baseline(mean, state):
    """Standard deviation 0.0972: 10.25 is 2.6 of it away (1_2s), 10.35 is 3.6 (1_3s)."""
    assert states([*TEN, mean])[-1] == state


@pytest.mark.parametrize(
    ("mean", "state"),
    [(10.89, "baseline"), (10.91, "warning"), (11.39, "warning"), (11.41, "action")],
)
def test_first_sessions_are_held_against_the_certificate(mean, state):
    """Certificate 10 ± 0.4 (4 %): warning beyond 4 + 5 %, action beyond 4 + 10 %."""
    assert states([mean]) == [state]


def test_session_on_an_expired_phantom_judges_nothing():
    ended = Certificate(10.0, 0.4, FIRST + timedelta(days=290))
    assert states([*TEN, 12.0], certificate=ended)[-1] == "phantom expired"


def test_event_ends_the_baseline_and_begins_an_acceptance_run():
    event = FIRST + timedelta(days=299)
    open_break, signed = (Break(event, "update", day) for day in (None, event + timedelta(days=31)))
    assert states([*TEN, 10.8, 10.8, 10.8], breaks=[open_break])[-3:] == ["acceptance run"] * 3
    after = states([*TEN, 10.8, 10.8, 10.8], breaks=[signed])
    assert after[-3:] == ["acceptance run"] * 2 + ["baseline"]
    chart = chart_checks(
        sessions([*TEN, 10.8]), certificate=CERTIFICATE, breaks=[signed], rules=RULES
    )
    assert [one.part for one in chart.points] == [0] * 10 + [1]


def test_no_baseline_is_made_before_the_sign_off():
    """Else ten checks at the shifted level would make the shift the new normal."""
    event = FIRST + timedelta(days=299)
    waiting = Break(event, "update", None)
    assert set(states([*TEN, *[11.6] * 12], breaks=[waiting])[10:]) == {"action"}
    signed = Break(event, "update", event + timedelta(days=40))
    chart = chart_checks(
        sessions([*TEN, 10.8, 10.8, *TEN]), certificate=CERTIFICATE, breaks=[signed], rules=RULES
    )
    assert chart.baselines[1].mean == pytest.approx(10.0)


def test_acceptance_run_is_held_against_the_baseline_before():
    event = Break(FIRST + timedelta(days=299), "update", None, 2)
    found = compare_after(sessions([*TEN, 10.8]), event=event, breaks=[event], rules=RULES)
    # Shift 8 %; half width t(9) 2.262 times 0.0972 times sqrt(1.1) over 10: 2.3 %.
    assert (found.shift_share, found.agrees) == (pytest.approx(0.08), False)
    assert found.upper - found.shift_share == pytest.approx(0.02306, abs=1e-4)
    near = compare_after(sessions([*TEN, 10.4]), event=event, breaks=[event], rules=RULES)
    assert near.agrees
    none = compare_after(sessions(TEN), event=event, breaks=[event], rules=RULES)
    assert (none.n_sessions, none.agrees) == (0, False)
    no_base = compare_after(
        sessions([10.0, 10.1], first=event.day), event=event, breaks=[event], rules=RULES
    )
    assert (no_base.shift_share, no_base.agrees) == (None, False)


@pytest.mark.parametrize(("days", "late"), [(35, 0), (36, 1), (0, 0)])
def test_check_is_overdue_after_its_day(days, late):
    assert days_overdue(sessions([10]), on=FIRST + timedelta(days=days), rules=RULES) == late
    assert days_overdue([], on=FIRST, rules=RULES) == 0


def charts_of(drift_of):
    """Four devices on two phantoms; drift_of(device, phantom) is added to the last three."""
    rng = np.random.default_rng(4)
    return {
        (device, "standard", phantom): chart_checks(
            sessions(
                [*rng.normal(10, 0.1, 10), *rng.normal(10 + drift_of(device, phantom), 0.1, 3)]
            ),
            certificate=CERTIFICATE,
            breaks=(),
            rules=RULES,
        )
        for device in ("D1", "D2", "D3", "D4")
        for phantom in ("P1", "P2")
    }


def test_phantom_that_drifts_is_told_from_a_device_that_does():
    drifting = find_phantom_moves(charts_of(lambda d, p: -0.5 * (p == "P1")), least_share=0.02)
    assert [one.is_phantom for one in drifting] == [True, False]
    assert drifting[0].shift_share == pytest.approx(-0.05, abs=0.015)
    device = find_phantom_moves(charts_of(lambda d, p: 0.8 * (d == "D2")), least_share=0.02)
    assert [one.is_phantom for one in device] == [False, False]
    together = find_phantom_moves(charts_of(lambda d, p: 0.5), least_share=0.02)
    assert [one.is_phantom for one in together] == [False, False]


def test_false_calls_of_a_steady_device_are_as_stated():
    """Of 400 steady devices 2.3 % of later sessions call action by chance, as Methods say."""
    rng = np.random.default_rng(1)
    action = total = 0
    for _ in range(400):
        chart = chart_checks(
            sessions(rng.normal(10, 0.13, 22)), certificate=CERTIFICATE, breaks=(), rules=RULES
        )
        later = [one for one in chart.points if one.deviation_share is not None]
        action += sum(one.state == "action" for one in later)
        total += len(later)
    assert action / total == pytest.approx(0.023, abs=0.006)
