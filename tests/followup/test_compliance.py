"""Verdicts on requirements: below, on and above each limit; no evidence is never a pass."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.followup.compliance import due_words, judge
from qa.followup.documents import Document, ReadBy
from qa.followup.facts import ListedItem, TrailFacts
from qa.followup.month_reviews import LookedAt, MonthReview
from qa.followup.reviews import Review
from qa.followup.statements import Statement
from qa.model.document_words import DocumentKind
from tests.followup.record_facts import CATALOGUE, MONTH, PUBLISHED, answer, facts, snapshot, value

FIRST = date(2020, 1, 1)


@pytest.mark.parametrize(
    ("requirement_id", "measure", "n_events", "n", "said"),
    [
        ("REQ-001", "reliable", 79, 100, "not met"),
        ("REQ-001", "reliable", 80, 100, "met"),
        ("REQ-001", "reliable", 81, 100, "met"),
        ("REQ-005", "quarantined", 1, 100, "met"),
        ("REQ-005", "quarantined", 2, 100, "met"),
        ("REQ-005", "quarantined", 3, 100, "not met"),
        ("REQ-001", "reliable", 9, 9, "no evidence"),
        ("REQ-001", "reliable", 10, 10, "met"),
        ("REQ-001", "reliable", 0, 0, "no evidence"),
    ],
)
def test_measure_around_its_limit_and_with_too_few(requirement_id, measure, n_events, n, said):
    told = facts(snapshot=snapshot(values={measure: value(n_events, n)}))
    assert judge(CATALOGUE[requirement_id], told).answer == said


@pytest.mark.parametrize(
    ("low", "high", "is_said"), [(0.8, 0.9, True), (0.81, 0.9, False), (0.7, 0.79, False)]
)
def test_measure_says_when_chance_may_have_decided(low, high, is_said):
    told = facts(snapshot=snapshot(values={"reliable": value(85, 100, low=low, high=high)}))
    sentence = judge(CATALOGUE["REQ-001"], told).found.sentence
    assert ("chance may have decided" in sentence) is is_said


@pytest.mark.parametrize("one", CATALOGUE.values(), ids=lambda one: one.id)
def test_nothing_known_is_no_evidence_and_not_a_pass(one):
    """Before anything was published and recorded; the list of cases is known to be empty."""
    empty = facts(is_due=False, snapshot=None, packs=(), trail=None, lacking=None)
    found = judge(one, empty)
    assert found.answer == ("met" if one.rule == "cases" else "no evidence")
    assert found.is_provisional


@pytest.mark.parametrize(
    ("rule", "changes"),
    [
        ("month closed", {"snapshot": snapshot(intake=("in", "In.", False, None))}),
        ("month in", {"snapshot": snapshot(intake=("late", "Late.", False, None))}),
        ("baselines", {"snapshot": snapshot(baselines=())}),
        ("signals", {"snapshot": snapshot(items=(ListedItem("I1", "Spread"),))}),
        ("pack", {"packs": ()}),
    ],
)
def test_what_can_still_come_is_missed_only_once_it_was_due(rule, changes):
    early = answer(rule, facts(is_due=False, **changes))
    assert early.answer == "no evidence"
    assert "due by 2026-11-30" in early.found.sentence
    assert answer(rule, facts(**changes)).answer == "not met"
    assert due_words(MONTH) == "2026-11-30"


def review(*, is_dismissed: bool) -> Review:
    return Review("I1", "north", "Spread", is_dismissed, "known", "maria", "2026-11-05", 1)


@pytest.mark.parametrize(("is_dismissed", "said"), [(True, "met"), (False, "not met")])
def test_signal_is_decided_on_by_a_reason_not_by_being_taken_up_again(is_dismissed, said):
    told = facts(
        snapshot=snapshot(items=(ListedItem("I1", "Spread"),)),
        reviews=(review(is_dismissed=is_dismissed),),
    )
    assert answer("signals", told).answer == said


def test_signal_that_waits_for_next_month_was_decided_on_in_its_month():
    look = LookedAt("I1", "north", "Spread", "two exams watched", "maria", "2026-11-05")
    told = facts(
        snapshot=snapshot(items=(ListedItem("I1", "Spread"),)),
        month_review=MonthReview("2026-10", {"I1": look}),
    )
    found = answer("signals", told)
    assert found.answer == "met"
    assert "looked at by maria on 2026-11-05" in found.found.evidence[0].words


@pytest.mark.parametrize(
    ("lacking", "has_files", "said"),
    [
        ({}, True, "no evidence"),
        ({"op-1": "no file was begun"}, False, "no evidence"),
        ({"op-1": ""}, True, "met"),
        ({"op-1": "", "op-2": "no authorisation in force"}, True, "not met"),
    ],
)
def test_competence_of_those_who_examined(lacking, has_files, said):
    assert answer("competence", facts(lacking=lacking, has_files=has_files)).answer == said


@pytest.mark.parametrize(
    ("n_rows", "faults", "said"),
    [(0, (), "no evidence"), (3, (), "met"), (3, ("Row 2 was altered.",), "not met")],
)
def test_trail(n_rows, faults, said):
    told = facts(trail=TrailFacts(n_rows, faults, PUBLISHED))
    assert answer("trail", told).answer == said


def document(**changes: object) -> Document:
    base = Document(
        *("common-practice.v1", DocumentKind.CRITERIA, "common-practice", 1, "Common", None),
        *("f00d", "", FIRST, "first", (), "maria", "2026-01-01"),
        approved_by="milan",
        approved_at="2026-01-02",
    )
    return replace(base, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("documents", "said"),
    [
        ((), "no evidence"),
        ((document(),), "met"),
        ((document(approved_by=""),), "not met"),
        ((document(fingerprint="beef"),), "not met"),
        ((document(from_day=date(2020, 1, 2)),), "not met"),
    ],
)
def test_rules_in_force_are_approved(documents, said):
    assert answer("rules approved", facts(documents=documents)).answer == said


@pytest.mark.parametrize(
    ("documents", "said"),
    [
        ((), "no evidence"),
        ((document(),), "not met"),
        ((document(reads=(ReadBy("otto", "2026-02-01", ("south",)),)),), "not met"),
        ((document(reads=(ReadBy("lena", "2026-02-01", ("north",)),)),), "met"),
        ((document(ended_on=date(2026, 10, 31)),), "no evidence"),
        ((document(site_id="south"),), "no evidence"),
    ],
)
def test_rules_are_read_by_somebody_of_the_site(documents, said):
    assert answer("rules read", facts(documents=documents)).answer == said


def statement(**changes: object) -> Statement:
    base = Statement(
        *("SIGN-0001", "REQ-016", "north", True, "All checked.", MONTH, date(2026, 10, 31)),
        *("lena", "2026-11-02T09:00:00.000000+00:00"),
    )
    return replace(base, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "met"),
        ({"is_met": False}, "not met"),
        ({"until": date(2026, 10, 30)}, "no evidence"),
        ({"until": date(2026, 11, 1)}, "met"),
        ({"from_month": date(2026, 11, 1), "until": date(2026, 11, 30)}, "no evidence"),
        ({"site_id": None}, "met"),
        ({"site_id": "south"}, "no evidence"),
        ({"requirement_id": "REQ-017"}, "no evidence"),
        ({"withdrawn_by": "lena"}, "no evidence"),
    ],
)
def test_signed_statement_speaks_for_whole_months_of_its_site(changes, said):
    told = facts(statements=(statement(**changes),))
    assert judge(CATALOGUE["REQ-016"], told).answer == said


def test_a_sites_own_statement_counts_before_the_networks_newer_one():
    later = statement(statement_id="SIGN-0002", site_id=None, at="2026-11-20", is_met=True)
    told = facts(statements=(later, statement(is_met=False)))
    assert judge(CATALOGUE["REQ-016"], told).answer == "not met"


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_order_of_facts_never_matters(data):
    """Every verdict is the same however its facts are ordered."""
    items = tuple(ListedItem(f"I{k}", f"Finding {k}") for k in range(3))
    documents = (document(), document(document_id="b.v1"), document(document_id="a.v1"))
    signed = tuple(statement(statement_id=f"SIGN-{k}", is_met=bool(k % 2)) for k in range(3))
    told = facts(
        snapshot=snapshot(items=items), reviews=(review(is_dismissed=True),), documents=documents,
        statements=signed, lacking={"b": "", "a": "x"}, has_files=True,
    )  # fmt: skip
    shuffled = replace(
        told,
        snapshot=snapshot(items=tuple(data.draw(st.permutations(items)))),
        documents=tuple(data.draw(st.permutations(documents))),
        statements=tuple(data.draw(st.permutations(signed))),
        lacking=dict(data.draw(st.permutations([("a", "x"), ("b", "")]))),
    )
    for one in CATALOGUE.values():
        assert judge(one, told).found == judge(one, shuffled).found
