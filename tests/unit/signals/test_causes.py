"""One cause is one item: planted causes of every kind, and independent ones that stay apart."""

import numpy as np
import polars as pl
import pytest

from tests.unit.signals.sites import CHANGE, MONTHS, count_site, last_items, list_signals, month

PEOPLE = {f"op-{number}": "eider" if number < 5 else "gannet" for number in range(1, 9)}
DEVICES = {"dev-1": "eider", "dev-2": "eider", "dev-3": "gannet", "dev-4": "gannet"}
STEP = 0.20


def step(*, person=None, device=None, site=None, size=STEP, since=CHANGE):
    """What is added to a rate from a month on, for an operator, on a device or at a site."""

    def added(one, on, number):
        is_there = (
            (person in (None, one)) and (device in (None, on)) and (site in (None, PEOPLE[one]))
        )
        return size if is_there and number >= since else 0.0

    return added


def both(*steps):
    return lambda *where: sum(one(*where) for one in steps)


ONE_CAUSE = {
    "an operator, not also site and network": (
        {"n_unreliable": step(person="op-2")},
        [("op-2", "MSR-001")],
    ),
    "a device, not its operators": ({"n_incomplete": step(device="dev-1")}, [("dev-1", "MSR-002")]),
    "a site, not its operators": (
        {"n_unreliable": step(site="eider", size=0.15)},
        [("eider", "MSR-001")],
    ),
    "preparation at a site": (
        {"n_preparation_breach": step(site="gannet")},
        [("gannet", "MSR-008")],
    ),
    "the network": ({"n_unreliable": step(size=0.10)}, [("network", "MSR-001")]),
    "an operator, and repeats by colleagues that follow": (
        {"n_unreliable": step(person="op-2", size=0.3), "n_repeats": step(site="eider", size=0.05)},
        [("op-2", "MSR-001")],
    ),
    "an operator, two measures of technique": (
        {"n_unreliable": step(person="op-2"), "n_incomplete": step(person="op-2", size=0.15)},
        [("op-2", "MSR-001")],
    ),
}


@pytest.mark.parametrize("name", ONE_CAUSE)
def test_one_cause_is_one_item(name):
    extra, expected = ONE_CAUSE[name]
    counts = count_site(np.random.default_rng(5), PEOPLE, DEVICES, extra=extra)
    assert last_items(list_signals(counts, PEOPLE)) == expected


TWO_CAUSES = {
    "two operators of a site": (
        {"n_unreliable": both(step(person="op-1"), step(person="op-2"))},
        {("op-1", "MSR-001"), ("op-2", "MSR-001")},
    ),
    "technique and preparation of one operator": (
        {"n_unreliable": step(person="op-2"), "n_preparation_breach": step(person="op-2")},
        {("op-2", "MSR-001"), ("op-2", "MSR-008")},
    ),
    "one operator, half a year apart": (
        {
            "n_unreliable": step(person="op-2", since=CHANGE - 1),
            "n_incomplete": step(person="op-2", since=MONTHS - 2, size=0.3),
        },
        {("op-2", "MSR-001"), ("op-2", "MSR-002")},
    ),
    "an operator here, a device there": (
        {"n_unreliable": step(person="op-2"), "n_incomplete": step(device="dev-3")},
        {("op-2", "MSR-001"), ("dev-3", "MSR-002")},
    ),
    "an operator further off than the site": (
        {"n_unreliable": both(step(site="eider", size=0.10), step(person="op-2", size=0.3))},
        {("op-2", "MSR-001"), ("eider", "MSR-001")},
    ),
}


@pytest.mark.parametrize("name", TWO_CAUSES)
def test_two_causes_stay_two_items(name):
    extra, expected = TWO_CAUSES[name]
    counts = count_site(np.random.default_rng(5), PEOPLE, DEVICES, extra=extra)
    assert set(last_items(list_signals(counts, PEOPLE))) == expected


def test_independent_causes_at_random_are_hardly_ever_joined():
    """25 networks (seed 8): two operators change by 20 points in a measure and month of their
    own; one standing for the other would be a wrong join. At most one in 20 is let pass."""
    rng, n_pairs, n_joined = np.random.default_rng(8), 0, 0
    columns = {"n_unreliable": "MSR-001", "n_incomplete": "MSR-002"}
    for _ in range(25):
        pair = rng.choice(list(PEOPLE), 2, replace=False)
        chosen = [str(rng.choice(list(columns))) for _ in pair]
        steps = [step(person=one, since=int(rng.integers(14, 21))) for one in pair]
        extra = {
            column: both(*(one for one, own in zip(steps, chosen, strict=True) if own == column))
            for column in set(chosen)
        }
        signals = list_signals(count_site(rng, PEOPLE, DEVICES, extra=extra), PEOPLE)
        last = signals.filter(month=month(MONTHS), unit_kind="operator")
        own = [
            last.filter(unit_id=str(one), measure_id=columns[column])
            for one, column in zip(pair, chosen, strict=True)
        ]
        if all(one.height for one in own):
            n_pairs += 1
            n_joined += own[0]["item_id"][0] == own[1]["item_id"][0]
    assert n_pairs >= 20
    assert n_joined <= n_pairs / 20


def test_device_item_says_why_it_is_not_the_people_and_keeps_its_id():
    counts = count_site(
        np.random.default_rng(5), PEOPLE, DEVICES, extra={"n_incomplete": step(device="dev-1")}
    )
    signals = list_signals(counts, PEOPLE).filter(unit_kind="device")
    assert signals["item_id"].n_unique() == 1
    last = signals.filter(month=month(MONTHS)).row(0, named=True)
    assert "Not their technique: the same people stayed at " in last["probably_not"]
    assert last["suggestion"].startswith("Have dev-1 looked at: probe, cable")
    assert last["since_first"] <= month(CHANGE) <= last["since_last"]
    own = counts.filter((pl.col("device_id") == "dev-1") & (pl.col("month") >= last["since_month"]))
    assert (last["n_events"], last["n"]) == (own["n_incomplete"].sum(), own["n_judged"].sum())


def test_operator_item_names_steady_colleagues_and_both_devices():
    counts = count_site(
        np.random.default_rng(5), PEOPLE, DEVICES, extra={"n_unreliable": step(person="op-2")}
    )
    row = list_signals(counts, PEOPLE).filter(month=month(MONTHS), unit_kind="operator")
    said = row["probably_not"][0]
    start = "Not room, device or patients: the other 3 operators of the site stayed at "
    assert said.startswith(start)
    assert "Not a fault of one device: it shows on both devices." in said
    assert row["how_sure"][0].startswith("Very sure: chance alone shows as much less than once in")
    assert row["since_first"][0] <= month(CHANGE) <= row["since_last"][0]
