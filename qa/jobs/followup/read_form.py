"""What a second reader says of an exam."""

from collections.abc import Callable
from dataclasses import dataclass

from qa.followup import second_read
from qa.followup.readings import Sample, SampledExam
from qa.model.permissions import Actor
from qa.model.record import NewEvent


@dataclass(frozen=True)
class ReadForm:
    """What a second reader enters."""

    code: str
    outcome: str
    stiffness_kpa: float | None = None
    attenuation_db_m: float | None = None
    words: str = ""


def reading_of(
    form: ReadForm, actor: Actor, exam: SampledExam
) -> Callable[[Sample | None], list[NewEvent]]:
    return lambda sample: second_read.read(
        sample,
        code=form.code,
        reader=exam.reader if exam.reader in actor.own_ids else actor.user_id,
        reader_operator=actor.operator_id or exam.reader_operator,
        outcome=form.outcome,
        stiffness_kpa=form.stiffness_kpa,
        attenuation_db_m=form.attenuation_db_m,
        words=form.words,
    )
