"""Work on cases: each function asks the right, decides, and keeps events with their trail."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from qa.followup import decide, decide_action
from qa.followup.case_events import CASE
from qa.followup.cases import Case, CaseItem
from qa.followup.effect import EffectResult
from qa.followup.fitting import require_step
from qa.followup.reviews import Review
from qa.jobs.followup.archive import Archive
from qa.jobs.followup.evidence import (
    find_items,
    preview_effect,
    shown_exams,
    site_of_items,
)
from qa.jobs.followup.opening import change_record, load_record, load_records, no_such_record
from qa.jobs.followup.plan_form import PlanForm, plan_of_form
from qa.jobs.followup.signals import dismiss_item, list_reviews
from qa.model.case_words import CaseState
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, may, require
from qa.model.published import Published
from qa.model.record import NewEvent
from qa.stores.followup.store import FollowupStore, Reading

Decide = Callable[[Case | None], list[NewEvent]]


@dataclass(frozen=True)
class CaseDesk:
    """Somebody at work on cases: the store, who it is, and now.

    Args:
        actor: None: nobody is logged in; everything is refused.
        at: now, UTC. Its date is today.
        archive: what was published and issued; None: not at hand.
    """

    store: FollowupStore
    actor: Actor | None
    at: datetime
    archive: Archive | None = None

    @property
    def today(self) -> date:
        return self.at.date()

    # Seeing

    def cases(self) -> list[Case]:
        """Cases that this person may see, in the order in which they were opened."""
        with self.store.reading() as reading:
            return [case for case in load_records(reading, CASE) if self._sees(case)]

    def case(self, case_id: str) -> Case:
        """Raises: FollowupError FUP-014 when there is none, or it is another site's."""
        with self.store.reading() as reading:
            return self._seen(reading, case_id)

    def _sees(self, case: Case) -> bool:
        return may(self.actor, Permission.SEE_CASES, site_id=case.site_id)

    def _seen(self, reading: Reading, case_id: str) -> Case:
        """A case of another site is answered like one that does not exist."""
        if self.actor is None:
            require(None, Permission.SEE_CASES)
        case = load_record(reading, CASE, case_id)
        if not self._sees(case):
            raise no_such_record(CASE, case_id)
        return case

    def reviews(self) -> list[Review]:
        """Signals that were reviewed, as far as this person may see them."""
        return list_reviews(self.store, actor=self.actor)

    def findings(self, item_ids: Sequence[str], published: Published) -> list[str]:
        """What the list says of some items. Raises: AccessRefused, FollowupError FUP-020."""
        found = find_items(published, item_ids)
        for _, site_id in found:
            require(self.actor, Permission.WORK_CASES, site_id=site_id)
        return [item.finding for item, _ in found]

    # Opening

    def open(
        self,
        *,
        title: str,
        owner: str,
        due_on: date,
        why: str = "",
        site_id: str | None = None,
        item_ids: Sequence[str] = (),
        published: Published | None = None,
    ) -> Case:
        """Open a case from items of the month's list, or by hand.

        Args:
            site_id: for a case by hand; None: the whole network. Items say it themselves.
            published: the snapshot that has the items.
        Raises: AccessRefused; FollowupError FUP-020 (no such item, or items of several sites),
            FUP-036 (an open case has the item).
        """
        items = find_items(published, item_ids)
        if items:
            site_id = site_of_items(items)
        actor = require(self.actor, Permission.WORK_CASES, site_id=site_id)
        taken = tuple(item for item, _ in items)
        with self.store.writing() as writing:
            self._refuse_taken(writing, taken)
            case_id = f"CASE-{writing.n_records(CASE.name) + 1:04d}"
            return change_record(
                writing,
                CASE,
                case_id,
                lambda case: decide.open_case(
                    case,
                    site_id=site_id,
                    title=title,
                    why=why,
                    owner=owner,
                    due_on=due_on,
                    items=taken,
                ),
                by=actor.user_id,
                at=self.at,
            )

    def add_items(
        self, case_id: str, *, item_ids: Sequence[str], published: Published, seen_no: int | None
    ) -> Case:
        """More items of the same site. Raises: like open()."""
        items = find_items(published, item_ids)
        site_id, taken = site_of_items(items), tuple(item for item, _ in items)
        if self.case(case_id).site_id not in (None, site_id):
            raise FollowupError("the item is another site's", where=case_id, code="FUP-020")
        return self._work(
            case_id, lambda case: decide.add_items(case, items=taken), seen_no, taken=taken
        )

    def _refuse_taken(self, reading: Reading, items: Sequence[CaseItem], own: str = "") -> None:
        wanted = {item.item_id for item in items}
        for case in load_records(reading, CASE) if wanted else []:
            both = wanted & {item.item_id for item in case.items}
            if both and not case.is_closed and case.case_id != own:
                raise FollowupError(
                    f"{case.case_id} works on it already",
                    where=min(both),
                    todo="Go on there; nothing was changed",
                    code="FUP-036",
                )

    def dismiss(self, item_ids: Sequence[str], *, why: str, published: Published) -> None:
        """Review items and not pursue them. Raises: like signals.dismiss_item."""
        for one in item_ids:
            dismiss_item(
                self.store, one, why=why, published=published, actor=self.actor, at=self.at
            )

    # Working

    def assign(self, case_id: str, *, owner: str, due_on: date, seen_no: int | None) -> Case:
        return self._work(
            case_id, lambda case: decide.assign(case, owner=owner, due_on=due_on), seen_no
        )

    def list_exams(
        self,
        case_id: str,
        *,
        published: Published,
        seen_no: int | None,
        exam_keys: Sequence[str] | None = None,
    ) -> Case:
        """Put exams on the case's list.

        Args: exam_keys: None: those that were not reliable behind the case's items.
        Raises: FollowupError FUP-025 for an exam that is not published or is another site's.
        """
        case = self.case(case_id)
        require(self.actor, Permission.SEE_EXAMS, site_id=case.site_id)
        exams = shown_exams(published, case, exam_keys)
        return self._work(case_id, lambda one: decide.list_exams(one, exams=exams), seen_no)

    def decide_exams(
        self,
        case_id: str,
        *,
        exam_keys: Sequence[str],
        decision: str,
        words: str = "",
        seen_no: int | None,
    ) -> Case:
        return self._work(
            case_id,
            lambda case: decide.decide_exams(
                case, exam_keys=exam_keys, decision=decision, words=words
            ),
            seen_no,
        )

    def contain(self, case_id: str, *, words: str, seen_no: int | None) -> Case:
        return self._work(case_id, lambda case: decide.contain(case, words=words), seen_no)

    def find_cause(
        self, case_id: str, *, category: str, method: str, words: str, seen_no: int | None
    ) -> Case:
        return self._work(
            case_id,
            lambda case: decide.find_cause(case, category=category, method=method, words=words),
            seen_no,
        )

    def plan_action(
        self, case_id: str, form: PlanForm, *, published: Published, seen_no: int | None
    ) -> Case:
        """An action with its criterion, as entered. published: to know measure and unit by."""

        def planned(case: Case | None) -> list[NewEvent]:
            case = require_step(case, CaseState.CAUSE_FOUND, CaseState.ACTION_PLANNED)
            plan = plan_of_form(form, case, published)
            return decide_action.plan_action(case, plan, on=self.today)

        return self._work(case_id, planned, seen_no)

    def finish_action(
        self, case_id: str, *, done_on: date, words: str, seen_no: int | None
    ) -> Case:
        return self._work(
            case_id,
            lambda case: decide_action.finish_action(
                case, done_on=done_on, words=words, on=self.today
            ),
            seen_no,
        )

    def put_check_off(self, case_id: str, *, check_on: date, why: str, seen_no: int | None) -> Case:
        return self._work(
            case_id,
            lambda case: decide_action.put_check_off(case, check_on=check_on, why=why),
            seen_no,
            permission=Permission.DECIDE_CASES,
        )

    def preview(self, case_id: str, *, published: Published) -> EffectResult | None:
        """What the check would say today; None before the action is done."""
        return preview_effect(published, self.case(case_id), as_of=self.today)

    def check(self, case_id: str, *, published: Published, seen_no: int | None) -> Case:
        """Work the check out from published counts and keep its result."""

        def checked(case: Case | None) -> list[NewEvent]:
            result = preview_effect(published, case, as_of=self.today) if case else None
            return decide_action.record_check(case, result, on=self.today)

        return self._work(case_id, checked, seen_no)

    # Deciding

    def close(self, case_id: str, *, words: str, seen_no: int | None) -> Case:
        return self._work(
            case_id,
            lambda case: decide.close_case(case, words=words),
            seen_no,
            permission=Permission.DECIDE_CASES,
        )

    def reopen(self, case_id: str, *, why: str, seen_no: int | None) -> Case:
        return self._work(
            case_id,
            lambda case: decide.reopen_case(case, why=why),
            seen_no,
            permission=Permission.DECIDE_CASES,
        )

    def comment(self, case_id: str, *, words: str) -> Case:
        """A comment never conflicts with what others do."""
        return self._work(
            case_id,
            lambda case: decide.comment(case, words=words),
            None,
            permission=Permission.COMMENT,
        )

    def _work(
        self,
        case_id: str,
        decided: Decide,
        seen_no: int | None,
        *,
        permission: Permission = Permission.WORK_CASES,
        taken: Sequence[CaseItem] = (),
    ) -> Case:
        with self.store.writing() as writing:
            case = self._seen(writing, case_id)
            actor = require(self.actor, permission, site_id=case.site_id)
            self._refuse_taken(writing, taken, own=case_id)
            return change_record(
                writing, CASE, case_id, decided, by=actor.user_id, at=self.at, seen_no=seen_no
            )
