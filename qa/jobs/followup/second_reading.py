"""Second readings: drawn, picked, given to a reader who sees no first result, and compared."""

import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from qa.followup import decide, second_read
from qa.followup.agree import Agreement, find_agreement
from qa.followup.case_events import CASE
from qa.followup.cases import Case, CaseExam
from qa.followup.readings import SAMPLE, Sample, SampledExam, entering_exams
from qa.followup.sampling import Pick, draw_sample, proposed_picks, sample_size, sampling_frame
from qa.jobs.followup.opening import change_record, load_record, load_records, no_such_record
from qa.model.definitions import Network
from qa.model.errors import FollowupError
from qa.model.months import month_name
from qa.model.permissions import Actor, Permission, may, require
from qa.model.published import Published
from qa.model.record import NewEvent
from qa.stores.followup.store import FollowupStore, Reading
from qa.views.exams import exam_places

Decide = Callable[[Sample | None], list[NewEvent]]


@dataclass(frozen=True)
class ReadForm:
    """What a second reader enters."""

    code: str
    outcome: str
    stiffness_kpa: float | None = None
    attenuation_db_m: float | None = None
    words: str = ""


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
            return [one for one in load_records(reading, SAMPLE) if self._sees(one)]

    def sample(self, sample_id: str) -> Sample:
        """Raises: FollowupError FUP-014 when there is none, or it is another site's."""
        with self.store.reading() as reading:
            return self._seen(reading, sample_id)

    def _sees(self, sample: Sample) -> bool:
        return may(
            self.actor,
            Permission.SEE_COMPETENCE,
            site_id=sample.site_id,
            owner=sample.operator_id,
        )

    def _seen(self, reading: Reading, sample_id: str) -> Sample:
        if self.actor is None:
            require(None, Permission.SEE_COMPETENCE)
        sample = load_record(reading, SAMPLE, sample_id)
        if not self._sees(sample):
            raise no_such_record(SAMPLE, sample_id)
        return sample

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
            if one.reader == actor.user_id and one.second is None
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
            if one.reader != actor.user_id
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
        self, sample_id: str, *, exam_keys: Sequence[str], reason: str, published: Published
    ) -> Sample:
        """Raises: FollowupError FUP-052 for exams that are not the operator's, or are in it."""
        sample = self.sample(sample_id)
        exams = published.frame("exams", exam_key=list(exam_keys), operator_id=sample.operator_id)
        entering = entering_exams(sampling_frame(exams), exam_keys, reason=reason)
        return self._work(
            sample_id,
            lambda one: second_read.pick(one, exams=entering),
            Permission.DRAW_SAMPLE,
        )

    def assign(
        self, sample_id: str, *, codes: Sequence[str] = (), reader: str, reader_operator: str = ""
    ) -> Sample:
        """Give exams to a second reader.

        Args: codes: none: all that were not read. reader_operator: the reader's own operator id.
        Raises: FollowupError FUP-053 when the reader did the exams, FUP-054.
        """
        if reader_operator and self.network.operator(reader_operator) is None:
            raise no_such_record(SAMPLE, reader_operator)
        waiting = [one.code for one in self.sample(sample_id).exams if one.second is None]
        return self._work(
            sample_id,
            lambda one: second_read.assign_reader(
                one, codes=codes or waiting, reader=reader, reader_operator=reader_operator
            ),
            Permission.DRAW_SAMPLE,
        )

    def _work(self, sample_id: str, decided: Decide, permission: Permission) -> Sample:
        with self.store.writing() as writing:
            sample = self._seen(writing, sample_id)
            actor = require(self.actor, permission, site_id=sample.site_id)
            return change_record(writing, SAMPLE, sample_id, decided, by=actor.user_id, at=self.at)

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
                if one.reader == actor.user_id
            }
            for form in forms:
                if form.code not in homes:
                    raise FollowupError(
                        "it is not yours to read", where=f"exam {form.code[:20]}", code="FUP-055"
                    )
                sample_id, exam = homes[form.code]
                decided = _reading(form, actor, exam)
                change_record(writing, SAMPLE, sample_id, decided, by=actor.user_id, at=self.at)
        return len(forms)

    # A discrepancy becomes a case

    def open_case(self, sample_id: str, code: str, *, owner: str, due_on: date) -> Case:
        """Open a case from a reading that differs; both records or none.

        Raises: AccessRefused; FollowupError FUP-057 (has a case, or not read), FUP-058 (agrees).
        """
        with self.store.writing() as writing:
            sample = self._seen(writing, sample_id)
            actor = require(self.actor, Permission.WORK_CASES, site_id=sample.site_id)
            exam = sample.exam(code)
            told = self.discrepancies(exam) if exam else ()
            if exam is None or (exam.second is not None and not told):
                raise FollowupError(
                    "first and second reading agree" if exam else "it is not in this sample",
                    where=f"exam {code[:20]}",
                    code="FUP-058",
                )
            by: dict[str, Any] = {"by": actor.user_id, "at": self.at}
            case_id = f"CASE-{writing.n_records(CASE.name) + 1:04d}"
            change_record(
                writing,
                SAMPLE,
                sample_id,
                lambda one: second_read.link_case(one, code=code, case_id=case_id),
                **by,
            )
            change_record(
                writing,
                CASE,
                case_id,
                lambda case: decide.open_case(
                    case,
                    site_id=sample.site_id,
                    title=f"Second reading of {month_name(sample.month)} differs",
                    why=f"Operator {sample.operator_id}, {exam.shown}: {'; '.join(told)}",
                    owner=owner,
                    due_on=due_on,
                ),
                **by,
            )
            listed = [CaseExam(exam.exam_key, exam.shown)]
            return change_record(
                writing, CASE, case_id, lambda case: decide.list_exams(case, exams=listed), **by
            )


def _reading(form: ReadForm, actor: Actor, exam: SampledExam) -> Decide:
    return lambda sample: second_read.read(
        sample,
        code=form.code,
        reader=actor.user_id,
        reader_operator=actor.operator_id or exam.reader_operator,
        outcome=form.outcome,
        stiffness_kpa=form.stiffness_kpa,
        attenuation_db_m=form.attenuation_db_m,
        words=form.words,
    )
