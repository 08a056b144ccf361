"""The review of a month: looked at again, undone, closed with what is undecided, reopened."""

from dataclasses import replace

import pytest

from qa.jobs.followup import month_reviews as job
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.people import person_names
from qa.jobs.followup.trail import verify_trail
from qa.model.errors import AccessRefused, FollowupError
from qa.stores.followup.store import FollowupStore
from qa.views.month_review import month_review_view
from qa.views.worklist import work_items
from tests.followup.notes import AT, LEAD, MANAGER, REVIEWER
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published

ITEM = "2026-07.operator.31.MSR-001.common-practice.v2.higher"


@pytest.fixture
def desk(store: FollowupStore) -> CaseDesk:
    return CaseDesk(store, MANAGER, AT)


def code_of(action, *arguments, **named) -> str:
    with pytest.raises(FollowupError) as caught:
        action(*arguments, **named)
    return caught.value.code or ""


def look(desk: CaseDesk, words: str = "two days watched") -> None:
    job.look_again(desk, ITEM, month=LAST, words=words, published=sample_published())


def shown(desk: CaseDesk):
    published = sample_published()
    return month_review_view(
        work_items(published, published.frame("signals", month=LAST)),
        job.month_review(desk, LAST),
        month=LAST,
        cases=desk.cases(),
        reviews=desk.reviews(),
        names=person_names(desk.store),
        on=desk.today,
    )


def test_month_is_decided_undone_closed_and_reopened(desk: CaseDesk):
    published = sample_published()
    before = shown(desk)
    assert (before.n_items, before.n_decided, before.closed) == (1, 0, "")
    look(desk)
    assert shown(desk).progress == "The one item is decided."
    assert "two days watched (maria, 2026-11-04)" in shown(desk).decided[ITEM].words
    job.undo_decision(desk, ITEM, month=LAST, why="decided by mistake")
    assert shown(desk).n_decided == 0
    job.close_month(desk, month=LAST, words="waits for her file", published=published)
    closed = shown(desk)
    assert closed.closed == (
        "The review of October 2026 was closed by maria on 2026-11-04 with none of one item "
        "decided. Left open because: waits for her file"
    )
    assert len(closed.closed_left) == 1
    assert "perator 31" in closed.closed_left[0]
    assert code_of(look, desk) == "FUP-095"
    job.reopen_month(desk, month=LAST, why="her file came")
    look(desk)
    assert shown(desk).n_decided == 1
    assert not verify_trail(desk.store).faults


def test_dismissal_is_undone_and_a_case_is_not(desk: CaseDesk):
    published = sample_published()
    desk.dismiss([ITEM], why="a new probe", published=published)
    assert shown(desk).decided[ITEM].is_undoable
    job.undo_decision(desk, ITEM, month=LAST, why="new evidence")
    desk.open(title="x", owner="y", due_on=desk.today, item_ids=[ITEM], published=published)
    assert not shown(desk).decided[ITEM].is_undoable
    assert code_of(job.undo_decision, desk, ITEM, month=LAST, why="no") == "FUP-096"


def test_what_does_not_fit_is_refused_and_changes_nothing(desk: CaseDesk):
    published = sample_published()
    close = {"month": LAST, "published": published}
    assert code_of(look, desk, " ") == "FUP-011"
    assert code_of(job.close_month, desk, words="", **close) == "FUP-011"
    assert code_of(job.reopen_month, desk, month=LAST, why="x") == "FUP-096"
    ahead = LAST.replace(year=2027)
    assert code_of(job.reopen_month, desk, month=ahead, why="x") == "FUP-096"
    unknown = {"month": LAST, "words": "x", "published": published}
    assert code_of(job.look_again, desk, "SIG-none", **unknown) == "FUP-020"
    for actor in (LEAD, REVIEWER, None):
        with pytest.raises(AccessRefused):
            look(replace(desk, actor=actor))
        with pytest.raises(AccessRefused):
            job.close_month(replace(desk, actor=actor), words="x", **close)
    assert job.month_review(desk, LAST).n_events == 0


def test_month_without_items_closes_without_words(desk: CaseDesk):
    published = sample_published()
    calm = published.with_frame("signals", published.frame("signals").clear())
    state = job.close_month(desk, month=LAST, words="", published=calm)
    assert state.closing is not None
    assert state.closing.undecided == ()


def test_looked_at_items_of_other_sites_stay_unseen(desk: CaseDesk):
    look(desk)
    assert job.month_review(replace(desk, actor=LEAD), LAST).looked_at == {}
    assert set(job.month_review(replace(desk, actor=REVIEWER), LAST).looked_at) == {ITEM}


def test_plain_words_name_what_was_left(desk: CaseDesk):
    job.close_month(desk, month=LAST, words="later", published=sample_published())
    with desk.store.reading() as reading:
        events = reading.events("month review", "2026-10")
    plain = job.MONTH_REVIEW.plain(job.MONTH_REVIEW.replay(events))
    assert plain["Closed"] == "yes, 0 of 1 decided"
    assert "Operator 31" in plain["Left undecided"]
