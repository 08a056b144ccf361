"""Second readings as shown: samples, how far readers agree, and the reader's own form."""

from collections.abc import Sequence
from dataclasses import dataclass

from qa.followup.agree import Agreement, agreement_lines
from qa.followup.readings import Sample, SampledExam
from qa.model.competence_words import READ_OUTCOMES
from qa.model.definitions import Network
from qa.model.months import month_name
from qa.views import words
from qa.views.case_page import CHOICE, NUMBER, TEXT, Field, FormShown
from qa.views.names import short_operator_name


@dataclass(frozen=True)
class SampleRow:
    """One sample. differ: code, what differs and the case it became ("" for none yet)."""

    sample_id: str
    name: str
    month_text: str
    drawn_text: str
    read_text: str
    differ: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class ReadingsView:
    """text: agreement in sentences. rows: samples, the newest month first."""

    text: tuple[str, ...]
    rows: tuple[SampleRow, ...]


def readings_view(
    samples: Sequence[Sample],
    differ: dict[str, tuple[tuple[str, str, str], ...]],
    agreement: Agreement,
    *,
    network: Network,
) -> ReadingsView:
    """Args: differ: sample id → its readings that differ."""
    if not samples:
        return ReadingsView(("No sample was drawn yet.",), ())
    ordered = sorted(samples, key=lambda one: (-one.month.toordinal(), one.operator_id))
    rows = (
        SampleRow(
            sample_id=one.sample_id,
            name=short_operator_name(network, one.operator_id),
            month_text=month_name(one.month),
            drawn_text=_drawn(one),
            read_text=f"{one.n_read} of {len(one.exams)}",
            differ=differ.get(one.sample_id, ()),
        )
        for one in ordered
    )
    return ReadingsView(tuple(agreement_lines(agreement)), tuple(rows))


def _drawn(sample: Sample) -> str:
    n_picked = len(sample.exams) - sample.n_random
    picked = f", {n_picked} picked" if n_picked else ""
    return f"{sample.n_random} of {words.counted(len(sample.frame), 'exam')} by chance{picked}"


def reading_forms(tasks: Sequence[SampledExam]) -> tuple[FormShown, ...]:
    """A form for each exam that waits for the reader; nothing of its first result is in it."""
    options = (("", "choose"), *((one.value, one.value) for one in READ_OUTCOMES))
    return tuple(
        FormShown(
            exam.code,
            f"Exam {exam.code}: {exam.shown}",
            "Enter; it is final",
            (
                Field("outcome", "How it was done", CHOICE, options),
                Field("stiffness_kpa", "Stiffness in kPa", NUMBER, is_needed=False),
                Field("attenuation_db_m", "Attenuation in dB/m", NUMBER, is_needed=False),
                Field("words", "Remarks", TEXT, is_needed=False),
            ),
        )
        for exam in tasks
    )


def reading_answer(n: int) -> str:
    if not n:
        return "No exam waits for you to be read."
    verb = "waits" if n == 1 else "wait"
    return f"{words.counted(n, 'exam')} {verb} for your reading."
