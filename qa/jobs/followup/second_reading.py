"""Second readings: drawn, picked, given to a reader who sees no first result, and compared."""

import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from qa.followup import second_read
from qa.followup.agree import Agreement, find_agreement
from qa.followup.cases import Case
from qa.followup.readings import SAMPLE, Sample, SampledExam, entering_exams
from qa.followup.sampling import Pick, draw_sample, proposed_picks, sample_size, sampling_frame
from qa.jobs.followup.opening import change_record, load_record, load_records, no_such_record
from qa.jobs.followup.read_form import ReadForm, reading_of
from qa.jobs.followup.reading_cases import write_reading_case
from qa.jobs.followup.second_readers import SecondReader, find_reader, possible_readers
from qa.model.definitions import Network
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, may, require
from qa.model.published import Published
from qa.model.record import NewEvent
from qa.stores.followup.store import FollowupStore, Reading
from qa.views.exams import exam_places

Decide = Callable[[Sample | None], list[NewEvent]]


@dataclass(frozen=True)
class SecondReadingDesk:
    """Somebody at work on second readings: the store, the network, who it is, and now."""

    store: FollowupStore
    network: Network
    actor: Actor | None
    at: datetime

    # Seeing

    def samples(self) -> list[Sample]:
        """Samples whose results this person may see."""
        with self.store.reading() as reading:
            found = load_records(reading, SAMPLE)
        return [part for one in found if (part := self._part(one)) is not None]

    def sample(self, sample_id: str) -> Sample:
        """Raises: FollowupError FUP-014 when there is none, or it is another site's."""
        with self.store.reading() as reading:
            return self._seen(reading, sample_id)

    def _part(self, sample: Sample) -> Sample | None:
        """What this person may see of it: exams of own sites, or the own ones; None for nothing."""
        shown = tuple(
            one
            for one in sample.exams
            if may(
                self.actor,
                Permission.SEE_COMPETENCE,
                site_id=one.site_id or sample.site_id,
                owner=sample.operator_id,
            )
        )
        if len(shown) == len(sample.exams):
            return sample
        return replace(sample, exams=shown, is_part=True) if shown else None

    def _seen(self, reading: Reading, sample_id: str) -> Sample:
        if self.actor is None:
            require(None, Permission.SEE_COMPETENCE)
        part = self._part(load_record(reading, SAMPLE, sample_id))
        if part is None:
            raise no_such_record(SAMPLE, sample_id)
        return part

    def agreement(self, samples: Sequence[Sample]) -> Agreement:
        share = self.network.settings.discrepant_stiffness_share
        return find_agreement(samples, stiffness_share=share)

    def discrepancies(self, exam: SampledExam) -> tuple[str, ...]:
        share = self.network.settings.discrepant_stiffness_share
        return second_read.discrepancies(exam, stiffness_share=share)

    def tasks(self) -> list[SampledExam]:
        """Exams that wait for this person. Callers show code and `shown` only, never `first`."""
        actor = self.actor
        actor = require(actor, Permission.SECOND_READ, owner=actor.user_id if actor else "")
        with self.store.reading() as reading:
            samples = load_records(reading, SAMPLE)
        return [
            one
            for sample in samples
            for one in sample.exams
            if one.reader in actor.own_ids and one.second is None
        ]

    def places(self, sample_id: str, published: Published) -> dict[str, str]:
        """Code → where the site finds the exam, for whoever hands exams to readers.

        Raises: AccessRefused for whoever may not draw; exams of one's own to read are left out.
        """
        sample = self.sample(sample_id)
        actor = require(self.actor, Permission.DRAW_SAMPLE, site_id=sample.site_id)
        found = exam_places(published, [one.exam_key for one in sample.exams])
        return {
            one.code: found.get(one.exam_key, "not published any more")
            for one in sample.exams
            if one.reader not in actor.own_ids
        }

    # Drawing

    def to_draw(self, month: date, *, published: Published) -> list[str]:
        """Operators with exams to draw from in a month, whose samples this person may draw."""
        found = sampling_frame(published.frame("exams", month=month))["operator_id"].unique()
        return [
            one.id
            for one in self.network.operators
            if one.id in found and may(self.actor, Permission.DRAW_SAMPLE, site_id=one.site)
        ]

    def draw(
        self, operator_id: str, month: date, *, published: Published, seed: str | None = None
    ) -> Sample:
        """Draw the sample of an operator and month.

        Args: seed: None: a new one from the machine.
        Raises: AccessRefused; FollowupError FUP-014, FUP-050, FUP-051.
        """
        person = self.network.operator(operator_id)
        if person is None:
            raise no_such_record(SAMPLE, operator_id)
        actor = require(self.actor, Permission.DRAW_SAMPLE, site_id=person.site)
        seed = seed or secrets.token_hex(16)
        frame = sampling_frame(published.frame("exams", operator_id=operator_id, month=month))
        keys = frame["exam_key"].to_list()
        chosen = self.network.settings
        n = sample_size(
            len(keys), share=chosen.second_reading_share, minimum=chosen.second_reading_min
        )
        drawn = draw_sample(keys, seed=seed, n=n)
        with self.store.writing() as writing:
            return change_record(
                writing,
                SAMPLE,
                f"{operator_id}.{month:%Y-%m}",
                lambda sample: second_read.draw(
                    sample,
                    operator_id=operator_id,
                    site_id=person.site,
                    month=month,
                    seed=seed,
                    frame=keys,
                    snapshot_id=published.snapshot_id,
                    exams=entering_exams(frame, drawn, reason=""),
                ),
                by=actor.user_id,
                at=self.at,
            )

    def proposed_picks(self, sample_id: str, published: Published) -> list[Pick]:
        """Exams that lie far out and are not in the sample yet."""
        sample = self.sample(sample_id)
        require(self.actor, Permission.DRAW_SAMPLE, site_id=sample.site_id)
        known = {one.exam_key for one in sample.exams}
        exams = published.frame("exams", month=sample.month)
        return [one for one in proposed_picks(exams, sample.frame) if one.exam_key not in known]

    def pick(
        self,
        sample_id: str,
        *,
        exam_keys: Sequence[str],
        reason: str,
        published: Published,
        seen_no: int | None = None,
    ) -> Sample:
        """Raises: FollowupError FUP-052 for exams that are not the operator's, or are in it."""
        sample = self.sample(sample_id)
        exams = published.frame("exams", exam_key=list(exam_keys), operator_id=sample.operator_id)
        entering = entering_exams(sampling_frame(exams), exam_keys, reason=reason)
        return self._work(
            sample_id,
            lambda one: second_read.pick(one, exams=entering),
            Permission.DRAW_SAMPLE,
            seen_no,
        )

    def assign(
        self,
        sample_id: str,
        *,
        codes: Sequence[str] = (),
        reader: str,
        reader_operator: str = "",
        seen_no: int | None = None,
    ) -> Sample:
        """Give exams to a second reader.

        Args:
            codes: none: all that were not read.
            reader: an account or an operator (second_readers.find_reader).
            reader_operator: the reader's own operator id, where the account does not say it.
        Raises: FollowupError FUP-053 when the reader did the exams, FUP-054, FUP-091.
        """
        if reader_operator and self.network.operator(reader_operator) is None:
            raise no_such_record(SAMPLE, reader_operator)
        waiting = [one.code for one in self.sample(sample_id).exams if one.second is None]
        with self.store.reading() as reading:
            found = find_reader(reading, self.network, reader, operator_id=reader_operator)
        return self._work(
            sample_id,
            lambda one: second_read.assign_reader(
                one,
                codes=codes or waiting,
                reader=found.reader,
                reader_operator=found.operator_id,
            ),
            Permission.DRAW_SAMPLE,
            seen_no,
        )

    def readers(self, sample_id: str) -> list[SecondReader]:
        """Who may read a sample's exams. Raises: AccessRefused for whoever may not assign them."""
        sample = self.sample(sample_id)
        require(self.actor, Permission.DRAW_SAMPLE, site_id=sample.site_id)
        with self.store.reading() as reading:
            return possible_readers(reading, self.network, first=sample.operator_id)

    def _work(
        self, sample_id: str, decided: Decide, permission: Permission, seen_no: int | None = None
    ) -> Sample:
        with self.store.writing() as writing:
            sample = self._seen(writing, sample_id)
            actor = require(self.actor, permission, site_id=sample.site_id)
            return change_record(
                writing,
                SAMPLE,
                sample_id,
                decided,
                by=actor.user_id,
                at=self.at,
                seen_no=seen_no,
            )

    # Reading

    def read(self, forms: Sequence[ReadForm]) -> int:
        """Keep what a reader says; all of it or nothing.

        Raises: AccessRefused; FollowupError FUP-027, FUP-053 to FUP-056.
        """
        actor = self.actor
        actor = require(actor, Permission.SECOND_READ, owner=actor.user_id if actor else "")
        with self.store.writing() as writing:
            homes = {
                one.code: (sample.sample_id, one)
                for sample in load_records(writing, SAMPLE)
                for one in sample.exams
                if one.reader in actor.own_ids
            }
            for form in forms:
                if form.code not in homes:
                    raise FollowupError(
                        "it is not yours to read", where=f"exam {form.code[:20]}", code="FUP-055"
                    )
                sample_id, exam = homes[form.code]
                decided = reading_of(form, actor, exam)
                change_record(writing, SAMPLE, sample_id, decided, by=actor.user_id, at=self.at)
        return len(forms)

    # A discrepancy becomes a case

    def open_case(self, sample_id: str, code: str, *, owner: str, due_on: date) -> Case:
        """Open a case from a reading that differs; both records or none.

        Raises: AccessRefused; FollowupError FUP-057 (has a case, or not read), FUP-058 (agrees).
        """
        with self.store.writing() as writing:
            sample = self._seen(writing, sample_id)
            exam = sample.exam(code)
            site_id = (exam.site_id if exam else None) or sample.site_id
            actor = require(self.actor, Permission.WORK_CASES, site_id=site_id)
            told = self.discrepancies(exam) if exam else ()
            if exam is None or (exam.second is not None and not told):
                raise FollowupError(
                    "first and second reading agree" if exam else "it is not in this sample",
                    where=f"exam {code[:20]}",
                    code="FUP-058",
                )
            who: dict[str, Any] = {"by": actor.user_id, "at": self.at}
            return write_reading_case(
                writing, sample, exam, told, owner=owner, due_on=due_on, **who
            )
