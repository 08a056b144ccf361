"""What a site complied with in a month, as known then or as known now; and signing for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from qa.followup import statements
from qa.followup.compliance import Verdict, judge
from qa.followup.facts import SnapshotFacts, last_moment
from qa.followup.statements import STATEMENT, Statement
from qa.jobs.followup.archive import Archive
from qa.jobs.followup.opening import (
    change_record,
    load_record,
    load_records,
    no_such_record,
)
from qa.jobs.followup.recorded import Recorded, read_recorded
from qa.model.document_words import Compliance
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, may, require
from qa.model.requirement import Requirement
from qa.stores.definitions import load_definitions
from qa.stores.followup.store import FollowupStore


@dataclass(frozen=True)
class RecordDesk:
    """Somebody who looks at the record: the store, what was published, who it is, and now.

    Args:
        actor: None: nobody is logged in; everything is refused.
        at: now, UTC.
    """

    store: FollowupStore
    archive: Archive
    actor: Actor | None
    at: datetime

    def verdicts(
        self,
        site_id: str,
        months: Sequence[date],
        *,
        is_then: bool = True,
        recorded: Recorded | None = None,
    ) -> list[Verdict]:
        """Each requirement in each month, by requirement and month.

        Args:
            recorded: all that people recorded, where it was read already.
            is_then: as known when the month's evidence was due (or at the first publication, if
                that was later); what came after is not looked at. False: as known now.
            recorded: what was read before; None: it is read now.
        Raises: AccessRefused; SnapshotError.
        """
        require(self.actor, Permission.SEE_REQUIREMENTS, site_id=site_id)
        recorded = recorded or read_recorded(self.store, at=self.at)
        moments = {month: self.moment(month, is_then=is_then) for month in months}
        by_snapshot: dict[str, list[date]] = {}
        for month, (_, snapshot_id) in moments.items():
            by_snapshot.setdefault(snapshot_id, []).append(month)
        found: list[Verdict] = []
        for snapshot_id, some in by_snapshot.items():
            facts: Mapping[date, SnapshotFacts] = (
                self.archive.facts(snapshot_id, site_id=site_id, months=some) if snapshot_id else {}
            )
            for month in some:
                found += self._month(site_id, month, moments[month][0], facts.get(month), recorded)
        return sorted(found, key=lambda one: (one.requirement.id, one.month))

    def moment(self, month: date, *, is_then: bool) -> tuple[datetime, str]:
        """The moment as which a month is known, and the snapshot in force at it ("": none)."""
        snapshots = self.archive.snapshots()
        # An invented network is published at a time of its own, which may lie ahead of the clock.
        now = max([self.at, *(published_at for published_at, _ in snapshots)])
        wanted = min(last_moment(month), now) if is_then else now
        before = [one for one in snapshots if one[0] <= wanted]
        if before:
            return wanted, before[-1][1]
        return snapshots[0] if snapshots else (wanted, "")

    def _month(
        self,
        site_id: str,
        month: date,
        known_at: datetime,
        snapshot: SnapshotFacts | None,
        recorded: Recorded,
    ) -> list[Verdict]:
        packs = self.archive.packs(site_id=site_id, month=month)
        facts = replace(
            recorded.facts_at(known_at, site_id=site_id, month=month, snapshot=snapshot),
            packs=tuple(one for one in packs if one.published_at <= known_at),
        )
        wanted = snapshot.requirements if snapshot else catalogue()
        return [judge(requirement, facts) for requirement in wanted]

    # Signing

    def statements(self) -> list[Statement]:
        """Statements that this person may see; those of the network for everybody who may."""
        with self.store.reading() as reading:
            found = load_records(reading, STATEMENT)
        can_see = self.actor is not None and self.actor.reaches(Permission.SEE_REQUIREMENTS)
        return [
            one
            for one in found
            if may(self.actor, Permission.SEE_REQUIREMENTS, site_id=one.site_id)
            or (can_see and one.site_id is None)
        ]

    def sign(
        self,
        requirement_id: str,
        *,
        site_id: str | None,
        is_met: bool,
        words: str,
        from_month: date,
        until: date,
    ) -> Statement:
        """Raises: AccessRefused; FollowupError FUP-080 to FUP-082, FUP-011 to FUP-013."""
        actor = require(self.actor, Permission.SIGN_REQUIREMENTS, site_id=site_id)
        requirement = find_requirement(requirement_id)
        with self.store.writing() as writing:
            return change_record(
                writing,
                STATEMENT,
                f"SIGN-{writing.n_records(STATEMENT.name) + 1:04d}",
                lambda one: statements.sign(
                    one,
                    requirement,
                    site_id=site_id,
                    is_met=is_met,
                    words=words,
                    from_month=from_month,
                    until=until,
                    on=self.at.date(),
                ),
                by=actor.user_id,
                at=self.at,
            )

    def withdraw(self, statement_id: str, *, why: str) -> Statement:
        """Raises: AccessRefused; FollowupError FUP-014, FUP-011."""
        with self.store.writing() as writing:
            one = load_record(writing, STATEMENT, statement_id)
            if self.actor and not may(self.actor, Permission.SEE_REQUIREMENTS, site_id=one.site_id):
                raise no_such_record(STATEMENT, statement_id)
            actor = require(self.actor, Permission.SIGN_REQUIREMENTS, site_id=one.site_id)
            return change_record(
                writing,
                STATEMENT,
                statement_id,
                lambda one: statements.withdraw_statement(one, why=why),
                by=actor.user_id,
                at=self.at,
            )


def catalogue() -> tuple[Requirement, ...]:
    """The newest version of each requirement of the program, by id."""
    return tuple(load_definitions().newest_requirements())


def find_requirement(requirement_id: str) -> Requirement:
    """Raises: FollowupError FUP-082 when there is none."""
    known = {one.id: one for one in catalogue()}
    if requirement_id not in known:
        raise FollowupError(
            f"there is no requirement '{requirement_id[:40]}'",
            expected=f"one of {', '.join(known)}",
            code="FUP-082",
        )
    return known[requirement_id]


def count_answers(verdicts: Sequence[Verdict]) -> dict[Compliance, int]:
    return {one: sum(verdict.answer is one for verdict in verdicts) for one in Compliance}
