"""Work on rounds: each function asks the right, decides, and keeps events."""

from dataclasses import dataclass, replace
from datetime import date, datetime

from qa.drift.round_scores import RoundResult
from qa.followup import rounds, studies
from qa.followup.phantoms import PHANTOM
from qa.followup.rounds import ROUND, Round, RoundPlan
from qa.followup.studies import STUDY, Study, Table
from qa.jobs.followup.opening import change_record, load_record, load_records
from qa.model.definitions import Network
from qa.model.equipment_words import AssignedBy
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, require
from qa.stores.followup.store import FollowupStore


@dataclass(frozen=True)
class RoundDesk:
    """Somebody at work on rounds; as EquipmentDesk."""

    store: FollowupStore
    network: Network
    actor: Actor | None
    at: datetime

    @property
    def today(self) -> date:
        return self.at.date()

    def rounds(self) -> list[Round]:
        """Every round, in the order of planning; for those who may see some site's results.

        Who sees which participant by name is the view's to decide: sites are codes to others.
        """
        if self.actor is None or not self.actor.reaches(Permission.SEE_RESULTS):
            require(self.actor, Permission.SEE_RESULTS)
        with self.store.reading() as reading:
            return load_records(reading, ROUND)

    def round(self, round_id: str) -> Round:
        """Raises: AccessRefused; FollowupError FUP-014."""
        if self.actor is None or not self.actor.reaches(Permission.SEE_RESULTS):
            require(self.actor, Permission.SEE_RESULTS)
        with self.store.reading() as reading:
            return load_record(reading, ROUND, round_id)

    def plan(self, plan: RoundPlan) -> Round:
        """Plan a round; the certificate is taken from the phantom as registered.

        Raises: AccessRefused; FollowupError FUP-014 (no such phantom), RND-001, RND-002.
        """
        actor = require(self.actor, Permission.RUN_ROUNDS)
        known = {one.id for one in self.network.devices}
        unknown = [one for one in plan.participants if one not in known]
        if unknown:
            raise FollowupError(
                f"there is no device '{unknown[0][:60]}'",
                where="participants",
                expected="devices of network.toml",
                code="RND-001",
            )
        with self.store.writing() as writing:
            if plan.assigned_by == AssignedBy.CERTIFICATE and plan.phantom_id:
                newest = load_record(writing, PHANTOM, plan.phantom_id)
                if newest.newest.expires_on < plan.closes_on:
                    raise FollowupError(
                        f"the certificate ends on {newest.newest.expires_on}",
                        where=f"phantom {plan.phantom_id}",
                        expected=f"one that lasts until the round ends on {plan.closes_on}",
                        code="RND-001",
                    )
                plan = replace(plan, certified=(newest.newest.value, newest.newest.expanded))
            return change_record(
                writing,
                ROUND,
                f"ROUND-{writing.n_records(ROUND.name) + 1:04d}",
                lambda one: rounds.plan_round(one, plan),
                by=actor.user_id,
                at=self.at,
            )

    def report(
        self, round_id: str, *, participant: str, value: float, uncertainty: float | None, n: int
    ) -> Round:
        """Raises: AccessRefused; FollowupError FUP-014, RND-003, RND-004."""
        site_id = next((one.site for one in self.network.devices if one.id == participant), None)
        actor = require(self.actor, Permission.KEEP_EQUIPMENT, site_id=site_id)
        result = RoundResult(participant, site_id or "", value, uncertainty, n)
        with self.store.writing() as writing:
            known = load_record(writing, ROUND, round_id)
            return change_record(
                writing,
                ROUND,
                round_id,
                lambda _: rounds.report_result(known, result, day=self.today),
                by=actor.user_id,
                at=self.at,
            )

    def close(self, round_id: str, *, words: str = "") -> Round:
        """Raises: AccessRefused; FollowupError FUP-014, RND-003, RND-005."""
        actor = require(self.actor, Permission.RUN_ROUNDS)
        with self.store.writing() as writing:
            known = load_record(writing, ROUND, round_id)
            return change_record(
                writing,
                ROUND,
                round_id,
                lambda _: rounds.close_round(known, words=words),
                by=actor.user_id,
                at=self.at,
            )

    # Studies

    def studies(self) -> list[Study]:
        """Every study, in the order of keeping; as rounds()."""
        if self.actor is None or not self.actor.reaches(Permission.SEE_RESULTS):
            require(self.actor, Permission.SEE_RESULTS)
        with self.store.reading() as reading:
            return load_records(reading, STUDY)

    def keep_study(self, *, title: str, table: Table) -> Study:
        """Raises: AccessRefused; FollowupError RND-010."""
        actor = require(self.actor, Permission.RUN_ROUNDS)
        with self.store.writing() as writing:
            return change_record(
                writing,
                STUDY,
                f"STUDY-{writing.n_records(STUDY.name) + 1:04d}",
                lambda one: studies.keep_study(one, title=title, table=table, day=self.today),
                by=actor.user_id,
                at=self.at,
            )

    def take_back_study(self, study_id: str, *, why: str) -> Study:
        """Raises: AccessRefused; FollowupError FUP-014, RND-011."""
        actor = require(self.actor, Permission.RUN_ROUNDS)
        with self.store.writing() as writing:
            known = load_record(writing, STUDY, study_id)
            return change_record(
                writing,
                STUDY,
                study_id,
                lambda _: studies.take_back_study(known, why=why),
                by=actor.user_id,
                at=self.at,
            )
