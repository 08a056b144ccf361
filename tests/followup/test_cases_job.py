"""Cases through the only door: rights, other sites' ids, stale edits, the whole way to proof."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from qa.followup.cases import Case
from qa.followup.trail import canonical
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.plan_form import PlanForm
from qa.jobs.followup.reminders import (
    list_reminders,
    mark_reminders_sent,
    overdue_items,
    queue_reminders,
)
from qa.jobs.followup.signals import dismiss_item, list_reviews, take_up_item
from qa.jobs.followup.trail import (
    TrailFilter,
    expire_of_network,
    list_trail,
    verify_trail,
)
from qa.model.errors import AccessRefused, FollowupError
from qa.model.permissions import Actor, Role
from qa.model.record import Event, time_text
from qa.stores.followup.store import FollowupStore
from tests.followup.case_steps import CRITERION
from tests.followup.notes import ADMINISTRATOR, AT, MANAGER, OPERATOR, REVIEWER
from tests.pages.sample_published import SamplePublished, sample_published

LEAD = Actor("lena", "Lena (invented)", (Role.SITE_LEAD,), sites=("S3",))
OTHER_LEAD = Actor("otto", "Otto (invented)", (Role.SITE_LEAD,), sites=("S1",))


def desk(store: FollowupStore, actor: Actor | None = MANAGER, *, at: datetime = AT) -> CaseDesk:
    return CaseDesk(store, actor, at)


def open_one(store: FollowupStore, actor: Actor | None = MANAGER, **more: object) -> Case:
    told: dict = {"title": "Spread at S3", "owner": "lena", "due_on": date(2026, 11, 18)}
    told |= {"item_ids": ["SIG-S3"], "published": sample_published()}
    return desk(store, actor).open(**told | more)


def test_case_takes_site_and_finding_from_its_items(store: FollowupStore) -> None:
    """Both signals belong to one item; its leading signal is the operator's."""
    case = open_one(store, item_ids=["SIG-S3", "SIG-31"])
    assert (case.case_id, case.site_id, case.state_on(AT.date())) == ("CASE-0001", "S3", "open")
    assert [(item.unit_kind, item.unit_id) for item in case.items] == [("operator", "31")]
    by_hand = open_one(store, item_ids=[], why="a letter", site_id="S1")
    assert (by_hand.case_id, by_hand.site_id) == ("CASE-0002", "S1")


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"item_ids": ["SIG-forged"]}, "FUP-020"),
        ({"item_ids": ["' OR 1=1 --"]}, "FUP-020"),
        ({"item_ids": [], "why": ""}, "FUP-011"),
        ({"title": "x" * 201}, "FUP-012"),
    ],
)
def test_what_cannot_open_leaves_nothing(store: FollowupStore, more: dict, code: str) -> None:
    with pytest.raises(FollowupError) as caught:
        open_one(store, **more)
    assert caught.value.code == code
    with store.reading() as reading:
        assert list(reading.entries()) == []


def test_an_item_has_one_open_case(store: FollowupStore) -> None:
    open_one(store)
    with pytest.raises(FollowupError, match=r"FUP-036.*CASE-0001 works on it"):
        open_one(store)
    with pytest.raises(FollowupError, match="FUP-036"):
        dismiss_item(store, "SIG-S3", why="x", published=sample_published(), actor=MANAGER, at=AT)


def test_another_sites_case_is_as_if_it_were_not_there(store: FollowupStore) -> None:
    open_one(store)
    seen = []
    for case_id in ("CASE-0001", "CASE-9999", "<script>", "../../x"):
        with pytest.raises(FollowupError) as caught:
            desk(store, OTHER_LEAD).case(case_id)
        seen.append(caught.value.message.replace(case_id, "X"))
    assert len(set(seen)) == 1
    for edit in EDITS:
        with pytest.raises(FollowupError, match="FUP-014"):
            edit(desk(store, OTHER_LEAD))
    assert desk(store, OTHER_LEAD).cases() == []
    assert [case.case_id for case in desk(store, LEAD).cases()] == ["CASE-0001"]


EDITS: list[Callable[[CaseDesk], object]] = [
    lambda one: one.comment("CASE-0001", words="x"),
    lambda one: one.assign("CASE-0001", owner="x", due_on=date(2027, 1, 1), seen_no=None),
    lambda one: one.contain("CASE-0001", words="x", seen_no=None),
    lambda one: one.close("CASE-0001", words="x", seen_no=None),
    lambda one: one.reopen("CASE-0001", why="x", seen_no=None),
    lambda one: one.list_exams("CASE-0001", published=sample_published(), seen_no=None),
    lambda one: one.check("CASE-0001", published=sample_published(), seen_no=None),
    lambda one: one.add_items(
        "CASE-0001", item_ids=["SIG-31"], published=sample_published(), seen_no=None
    ),
]


@pytest.mark.parametrize("actor", [REVIEWER, OPERATOR, ADMINISTRATOR, None])
def test_who_may_not_work_changes_nothing(store: FollowupStore, actor: Actor | None) -> None:
    before = open_one(store)
    for edit in EDITS:
        with pytest.raises((AccessRefused, FollowupError), match=r"ACC-00|FUP-014"):
            edit(desk(store, actor))
    with pytest.raises(AccessRefused):
        open_one(store, actor, item_ids=["SIG-31"])
    assert desk(store).case("CASE-0001") == before


def test_site_lead_works_but_does_not_close(store: FollowupStore) -> None:
    open_one(store, LEAD)
    desk(store, LEAD).contain("CASE-0001", words="looked at", seen_no=1)
    for edit in (EDITS[3], EDITS[4]):
        with pytest.raises(AccessRefused, match="close and reopen cases"):
            edit(desk(store, LEAD))


def test_second_of_two_at_once_gets_a_merge_message(store: FollowupStore) -> None:
    case = open_one(store)
    desk(store, LEAD).contain("CASE-0001", words="by lena", seen_no=case.n_events)
    with pytest.raises(FollowupError) as caught:
        desk(store).contain("CASE-0001", words="by maria", seen_no=case.n_events)
    assert caught.value.code == "FUP-010"
    assert "lena at 2026-11-04T09:30 UTC: contained" in caught.value.message
    assert "Containment: by lena" in caught.value.message
    assert desk(store).case("CASE-0001").containment == "by lena"


def test_comment_between_does_not_make_an_edit_stale(store: FollowupStore) -> None:
    case = open_one(store)
    desk(store, LEAD).comment("CASE-0001", words="<script>alert(1)</script>")
    contained = desk(store).contain("CASE-0001", words="looked at", seen_no=case.n_events)
    assert (contained.n_events, contained.comments[0].words) == (3, "<script>alert(1)</script>")


def test_exams_come_from_the_items_of_the_case(store: FollowupStore) -> None:
    open_one(store)
    published = sample_published()
    case = desk(store).list_exams("CASE-0001", published=published, seen_no=None)
    bad = published.frame("exams", site_id="S3", operator_id="31").filter(
        pl.col("outcome").is_in(["failed", "incomplete", "unreliable"])
    )
    assert {exam.exam_key for exam in case.exams} == set(bad["exam_key"])
    others = published.frame("exams", site_id="S1")["exam_key"].to_list()
    for keys in (["forged"], others[:1]):
        with pytest.raises(FollowupError, match="FUP-025"):
            desk(store).list_exams("CASE-0001", published=published, exam_keys=keys, seen_no=None)


def _with_months(*more: tuple[int, int, int, int]) -> SamplePublished:
    """Sample counts with n_unreliable of n_measured put in for S3: (year, month, events, n)."""
    published = sample_published()
    counts = published.frame("monthly_counts", site_id="S3")
    row = counts.filter(pl.col("criteria_id") == "common-practice.v1").head(1)
    months = ((2026, 9, 20, 60), (2026, 10, 30, 60), *more)
    made = [
        row.with_columns(
            month=date(year, month, 1),
            n_measured=pl.lit(n, pl.Int64),
            n_unreliable=pl.lit(events, pl.Int64),
        )
        for year, month, events, n in months
    ]
    return published.with_frame("monthly_counts", pl.concat([counts.clear(), *made]))


PLAN_FORM = PlanForm(
    kind="retraining",
    words="Half a day at the machine with the lead",
    owner="lena",
    due_on=date(2026, 11, 20),
    threshold_percent=12,
    check_on=date(2027, 3, 1),
    unit_kind="site",
    unit_id="S3",
    step="steadiness and breath hold",
)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"measure_id": "MSR-999"}, "a measure as Methods lists it"),
        ({"unit_kind": "planet"}, "a measure as Methods lists it"),
        ({"unit_id": "nowhere"}, "a unit with exams"),
        ({"measure_id": "MSR-012"}, "at most or at least"),
        ({"threshold_percent": 120}, "from 0 to 1"),
    ],
)
def test_criterion_of_nothing_is_refused(store: FollowupStore, changed: dict, words: str) -> None:
    open_one(store)
    one = desk(store)
    one.contain("CASE-0001", words="x", seen_no=None)
    told = {"category": "device or probe itself", "method": "tested the device", "words": "x"}
    one.find_cause("CASE-0001", **told, seen_no=None)
    with pytest.raises(FollowupError, match="FUP-028") as caught:
        one.plan_action(
            "CASE-0001",
            replace(PLAN_FORM, **changed),
            published=sample_published(),
            seen_no=None,
        )
    assert words in caught.value.message


@pytest.mark.parametrize(
    ("site_id", "unit"), [("S1", ("site", "S1")), (None, ("network", "network"))]
)
def test_case_by_hand_is_checked_at_its_own_site(
    store: FollowupStore, site_id: str | None, unit: tuple[str, str]
) -> None:
    open_one(store, item_ids=[], why="a letter", site_id=site_id)
    one = desk(store)
    one.contain("CASE-0001", words="x", seen_no=None)
    told = {"category": "device or probe itself", "method": "tested the device", "words": "x"}
    one.find_cause("CASE-0001", **told, seen_no=None)
    form = replace(PLAN_FORM, unit_kind="", unit_id="", measure_id="MSR-001")
    case = one.plan_action("CASE-0001", form, published=sample_published(), seen_no=None)
    assert case.plan is not None
    assert (case.plan.criterion.unit_kind, case.plan.criterion.unit_id) == unit


def test_the_whole_way_from_signal_to_proof(store: FollowupStore) -> None:
    """The worked example of test_effect.py, through store and permissions."""
    open_one(store, LEAD)
    lead = desk(store, LEAD)
    lead.contain("CASE-0001", words="Results were looked at again", seen_no=1)
    lead.find_cause(
        "CASE-0001",
        category="technique of the exam",
        method="watched exams being done",
        words="Breath is not held",
        seen_no=2,
    )
    case = lead.plan_action("CASE-0001", PLAN_FORM, published=_with_months(), seen_no=3)
    assert case.plan is not None
    assert case.plan.criterion == replace(CRITERION, unit_id="S3")
    lead.finish_action("CASE-0001", done_on=AT.date(), words="Half a day", seen_no=4)
    published = _with_months((2026, 12, 6, 60), (2027, 1, 4, 55), (2027, 2, 6, 50))
    with pytest.raises(FollowupError, match=r"FUP-031.*too early"):
        lead.check("CASE-0001", published=published, seen_no=5)
    later = desk(store, at=datetime(2027, 3, 2, 9, tzinfo=UTC))
    assert later.case("CASE-0001").state_on(later.today) == "effectiveness check due"
    with pytest.raises(FollowupError, match="FUP-032"):
        later.close("CASE-0001", words="", seen_no=5)
    case = later.check("CASE-0001", published=published, seen_no=5)
    assert case.checks[0].verdict == "effective"
    assert case.checks[0].figures["n_events"] == 16
    assert case.checks[0].figures["snapshot_id"] == published.snapshot_id
    closed = later.close("CASE-0001", words="It holds", seen_no=6)
    assert (closed.step, closed.n_events) == ("closed as effective", 7)
    with pytest.raises(FollowupError, match=r"FUP-022.*Reopen it first"):
        later.comment("CASE-0001", words="late")
    actions = [row.action for row in list_trail(store, TrailFilter("case"), actor=REVIEWER)]
    assert actions == [
        "opened",
        "contained",
        "cause found",
        "action planned",
        "action done",
        "effectiveness checked",
        "closed as effective",
    ]
    assert verify_trail(store).is_whole


def test_open_case_does_not_expire(store: FollowupStore, network_folder: Path) -> None:
    """Both are ten years old; the network keeps cases for six."""
    long_ago = AT.replace(year=2016)
    told: dict = {"owner": "lena", "due_on": date(2016, 11, 18), "why": "a letter"}
    desk(store, at=long_ago).open(title="stays", **told)
    desk(store, at=long_ago).open(title="closed", **told)
    with store.writing() as writing:
        data = canonical({"words": "long closed"})
        event = Event("case", "CASE-0002", 2, "closed as effective", data, time_text(long_ago), "x")
        writing.append(event, action=event.kind)
    with (network_folder / "network.toml").open("a", encoding="utf-8") as file:
        file.write("[retention_years]\ncase = 6\n")
    gone = expire_of_network(network_folder, store, actor=MANAGER, at=AT, is_applied=True)
    assert gone["case"][1].n_records == 1
    assert [case.title for case in desk(store).cases()] == ["stays"]
    by_hand = open_one(store, item_ids=[], why="a letter", site_id="S1")
    assert by_hand.case_id == "CASE-0003"
    assert verify_trail(store).is_whole


def test_signal_that_is_not_pursued_needs_a_reason(store: FollowupStore) -> None:
    published = sample_published()

    def dismiss(why: str, actor: Actor = MANAGER) -> object:
        return dismiss_item(store, "SIG-31", why=why, published=published, actor=actor, at=AT)

    with pytest.raises(FollowupError, match="FUP-011"):
        dismiss("  ")
    with pytest.raises(AccessRefused):
        dismiss("no time", LEAD)
    dismiss("a new probe was tried for two days")
    with pytest.raises(FollowupError, match="FUP-034"):
        dismiss("again")
    (review,) = list_reviews(store, actor=LEAD)
    assert (review.is_dismissed, review.site_id, review.by) == (True, "S3", "maria")
    assert list_reviews(store, actor=OTHER_LEAD) == []
    take_up_item(store, review.item_id, why="it goes on", actor=MANAGER, at=AT)
    assert not list_reviews(store, actor=LEAD)[0].is_dismissed


def test_overdue_case_is_queued_once_and_sent_once(store: FollowupStore) -> None:
    open_one(store)
    on_time, late = datetime(2026, 11, 18, 9, tzinfo=UTC), datetime(2026, 11, 19, 9, tzinfo=UTC)
    assert overdue_items(store, actor=MANAGER, at=on_time) == []
    assert queue_reminders(store, at=on_time, by="timer").new == ()
    (due,) = overdue_items(store, actor=LEAD, at=late)
    assert (due.owner, due.what) == ("lena", "decide what happens to the exams concerned")
    assert overdue_items(store, actor=OTHER_LEAD, at=late) == []
    assert len(queue_reminders(store, at=late, by="timer").new) == 1
    again = queue_reminders(store, at=late + timedelta(days=1), by="timer")
    assert (again.new, again.n_waiting) == ((), 1)
    ids = [one.reminder_id for one in list_reminders(store)]
    assert mark_reminders_sent(store, [*ids, "forged"], at=late, by="post") == 1
    assert list_reminders(store) == []
    assert verify_trail(store).is_whole
