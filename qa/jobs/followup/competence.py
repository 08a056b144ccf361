"""Operators' files: kept, read, and held against the published exams."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import polars as pl

from qa.followup import keep_file
from qa.followup.competence import OPERATOR_FILE, OperatorFile
from qa.followup.outside import exams_outside
from qa.followup.standing import Practice, Standing, operator_practice, operator_standing
from qa.jobs.followup.opening import change_record, load_records, no_such_record
from qa.model.definitions import Network, Operator
from qa.model.errors import AccessRefused
from qa.model.months import iterate_months, month_of
from qa.model.permissions import Actor, Permission, may, require
from qa.model.published import Published
from qa.model.record import NewEvent
from qa.stores.followup.store import FollowupStore

Decide = Callable[[OperatorFile | None], list[NewEvent]]


@dataclass(frozen=True)
class CompetenceDesk:
    """Somebody at work on operators' files: the store, the network, who it is, and now.

    Args:
        actor: None: nobody is logged in; everything is refused.
        at: now, UTC. Its date is today.
    """

    store: FollowupStore
    network: Network
    actor: Actor | None
    at: datetime

    @property
    def today(self) -> date:
        return self.at.date()

    # Seeing

    def files(self) -> dict[str, OperatorFile]:
        """By operator, those that this person may see."""
        with self.store.reading() as reading:
            found = load_records(reading, OPERATOR_FILE)
        return {one.operator_id: one for one in found if self.sees(one.operator_id)}

    def file(self, operator_id: str) -> OperatorFile:
        """An operator without a file has an empty one.

        Raises: FollowupError FUP-014 when there is no such operator for this person.
        """
        person = self._person(operator_id)
        return self.files().get(operator_id, OperatorFile(operator_id, person.site))

    def sees(self, operator_id: str) -> bool:
        person = self.network.operator(operator_id)
        sites = person.sites if person else ()
        return any(
            may(self.actor, Permission.SEE_COMPETENCE, site_id=site, owner=operator_id)
            for site in sites or (None,)
        )

    def _person(self, operator_id: str) -> Operator:
        """Another site's operator is answered like one that does not exist."""
        if self.actor is None:
            require(None, Permission.SEE_COMPETENCE)
        person = self.network.operator(operator_id)
        if person is None or not self.sees(operator_id):
            raise no_such_record(OPERATOR_FILE, operator_id)
        return person

    def standings(
        self, published: Published, *, month: date | None = None, operator_id: str | None = None
    ) -> list[Standing]:
        """Where each operator stands whom this person may see, by id.

        Args:
            month: practice up to this month; None: the newest published.
            operator_id: only this one.
        """
        of_one = {} if operator_id is None else {"operator_id": operator_id}
        counts = published.frame("monthly_counts", **of_one)
        newest = month or counts["month"].max()
        practice = operator_practice(counts, month=newest) if isinstance(newest, date) else {}
        files = self.files()
        ids = sorted(person.id for person in self.network.operators)
        return [
            operator_standing(
                one,
                files.get(one),
                practice.get(one, Practice()),
                settings=self.network.settings,
                on=self.today,
            )
            for one in ids
            if self.sees(one) and operator_id in (None, one)
        ]

    def standing(
        self, operator_id: str, published: Published, *, month: date | None = None
    ) -> Standing:
        """Raises: FollowupError FUP-014 when there is no such operator for this person."""
        self._person(operator_id)
        (one,) = self.standings(published, month=month, operator_id=operator_id)
        return one

    def outside(self, published: Published, *, from_day: date, to_day: date) -> pl.DataFrame:
        """OUTSIDE_COLUMNS: exams of a period that no authorisation covers."""
        months = list(iterate_months(month_of(from_day), month_of(to_day)))
        exams = published.frame("exams", month=months)
        exams = exams.filter(pl.col("exam_on").is_between(from_day, to_day))
        seen = [one for one in exams["operator_id"].unique() if self.sees(one)]
        seen_exams = exams.filter(pl.col("operator_id").is_in(seen))
        return exams_outside(seen_exams, self.files().values())

    # Keeping

    def train(
        self, operator_id: str, *, day: date, given_by: str, words: str, seen_no: int | None = None
    ) -> OperatorFile:
        site_id, on = self._person(operator_id).site, self.today
        told: dict[str, Any] = {"day": day, "given_by": given_by, "words": words}
        told |= {"site_id": site_id, "on": on}
        return self._keep(operator_id, lambda f: keep_file.add_training(f, **told), seen_no)

    def refresh(
        self, operator_id: str, *, day: date, given_by: str, words: str, seen_no: int | None = None
    ) -> OperatorFile:
        site_id, on = self._person(operator_id).site, self.today
        told: dict[str, Any] = {"day": day, "given_by": given_by, "words": words}
        told |= {"site_id": site_id, "on": on}
        return self._keep(operator_id, lambda f: keep_file.add_refresher(f, **told), seen_no)

    def observe(
        self,
        operator_id: str,
        *,
        day: date,
        observer: str,
        is_satisfactory: bool,
        words: str = "",
        seen_no: int | None = None,
    ) -> OperatorFile:
        """Enter an exam that was watched. Raises: AccessRefused ACC-005 for the own file."""
        site_id = self._person(operator_id).site
        self._refuse_own(operator_id)
        return self._keep(
            operator_id,
            lambda file: keep_file.add_observed(
                file,
                site_id=site_id,
                day=day,
                observer=observer,
                is_satisfactory=is_satisfactory,
                words=words,
                on=self.today,
            ),
            seen_no,
        )

    def state_earlier(
        self, operator_id: str, *, n: int, words: str, seen_no: int | None = None
    ) -> OperatorFile:
        site_id = self._person(operator_id).site
        return self._keep(
            operator_id,
            lambda file: keep_file.state_earlier(file, site_id=site_id, n=n, words=words),
            seen_no,
        )

    def authorise(
        self,
        operator_id: str,
        *,
        technique: str,
        probe: str,
        from_day: date,
        to_day: date | None = None,
        seen_no: int | None = None,
    ) -> OperatorFile:
        """Raises: AccessRefused; ACC-005 for oneself; FollowupError FUP-027, FUP-043 to FUP-045."""
        site_id = self._person(operator_id).site
        self._refuse_own(operator_id)
        return self._keep(
            operator_id,
            lambda file: keep_file.authorise(
                file,
                site_id=site_id,
                technique=technique,
                probe=probe,
                from_day=from_day,
                to_day=to_day,
                n_observed_needed=self.network.settings.observed_exams_needed,
            ),
            seen_no,
            permission=Permission.AUTHORISE,
        )

    def end_authorisation(
        self, operator_id: str, number: int, *, to_day: date, why: str, seen_no: int | None = None
    ) -> OperatorFile:
        self._refuse_own(operator_id)
        return self._keep(
            operator_id,
            lambda file: keep_file.end_authorisation(file, number=number, to_day=to_day, why=why),
            seen_no,
            permission=Permission.AUTHORISE,
        )

    def may_keep(self, operator_id: str, permission: Permission) -> bool:
        """Whether this person may change the file: from any site where the operator works."""
        person = self.network.operator(operator_id)
        is_barred = self.is_own(operator_id) and permission is Permission.AUTHORISE
        return person is not None and not is_barred and self._site_for(person, permission) != ""

    def is_own(self, operator_id: str) -> bool:
        return self.actor is not None and self.actor.operator_id == operator_id

    def _site_for(self, person: Operator, permission: Permission) -> str:
        allowed = [one for one in person.sites if may(self.actor, permission, site_id=one)]
        return allowed[0] if allowed else ""

    def _keeper(self, person: Operator, permission: Permission) -> Actor:
        where = self._site_for(person, permission) or person.site
        return require(self.actor, permission, site_id=where)

    def _refuse_own(self, operator_id: str) -> None:
        if self.is_own(operator_id):
            raise AccessRefused(
                "nobody signs off or authorises the own exams",
                where=f"the file of operator {operator_id}",
                todo="Ask somebody else; nothing was changed",
                code="ACC-005",
            )

    def _keep(
        self,
        operator_id: str,
        decide: Decide,
        seen_no: int | None,
        *,
        permission: Permission = Permission.KEEP_COMPETENCE,
    ) -> OperatorFile:
        actor = self._keeper(self._person(operator_id), permission)
        with self.store.writing() as writing:
            return change_record(
                writing,
                OPERATOR_FILE,
                operator_id,
                decide,
                by=actor.user_id,
                at=self.at,
                seen_no=seen_no,
            )
