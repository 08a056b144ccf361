"""One sample of second readings in full, and the forms that draw, add to and hand out samples."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from qa.followup.readings import Sample, SampledExam
from qa.followup.sampling import Pick
from qa.model.competence_words import PickReason
from qa.model.months import month_name
from qa.views import words
from qa.views.case_page import CHECKS, CHOICE, Field, FormShown
from qa.views.shown import Table

ALL = "all"
Options = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class SampleView:
    """A sample as shown. seen: number of its newest event."""

    answer: str
    facts: tuple[tuple[str, str], ...]
    table: Table
    seen: int


def sample_view(
    sample: Sample,
    *,
    name: str,
    names: Mapping[str, str],
    told: Mapping[str, Sequence[str]],
    places: Mapping[str, str],
) -> SampleView:
    """A first result is shown beside a second one only, never before.

    Args:
        name: of the operator. names: id of an account or reader → name.
        told: code → where both readings differ.
        places: code → where the site finds the exam; empty for whoever hands none out.
    """
    n = len(sample.exams)
    answer = f"{sample.n_read} of {words.counted(n, 'exam')} of {name} are read a second time."
    drawn = "the same exams again" if sample.is_as_drawn else "OTHER exams: ask who drew it"
    facts: tuple[tuple[str, str], ...] = (
        ("Month", month_name(sample.month)),
        ("Chosen by chance", f"{sample.n_random} of {len(sample.frame)} exams"),
        ("Drawn", f"{sample.drawn_at[:10]} by {names.get(sample.drawn_by, sample.drawn_by)}"),
        ("From", f"snapshot {sample.snapshot_id}, seed {sample.seed}, {sample.method}"),
        ("Drawn again, it gives", drawn),
    )
    if sample.is_part:
        facts = (*facts, ("Shown", "Exams of the sites that this account may see"))
    headings: tuple[str, ...] = ("Exam", "What it is", "Why it is here", "Second reader")
    headings = (*headings, "First and second", *(("Where",) if places else ()))
    rows = tuple(_row(one, names, told.get(one.code, ()), places) for one in sample.exams)
    return SampleView(answer, facts, Table("Exams of the sample", headings, rows), sample.n_events)


def _row(
    one: SampledExam, names: Mapping[str, str], told: Sequence[str], places: Mapping[str, str]
) -> tuple[str, ...]:
    cells = (
        one.code,
        one.shown,
        one.reason or "chance",
        names.get(one.reader, one.reader) or "not given out",
        _results(one, told),
    )
    return (*cells, places.get(one.code, "yours to read")) if places else cells


def _results(one: SampledExam, told: Sequence[str]) -> str:
    if one.second is None:
        return "waits"
    both = f"{one.first.words} · {one.second.words}"
    differ = f"; differs: {'; '.join(told)}" if told else "; agree"
    said = f". {one.words}" if one.words else ""
    return f"{both}{differ}{f' ({one.case_id})' if one.case_id else ''}{said}"


DRAW = FormShown(
    "draw",
    "Draw a sample",
    "Draw",
    (
        Field("month", "Month", CHOICE),
        Field(
            "operator",
            "Operator",
            CHOICE,
            hint="a month is drawn once; chance chooses, and anybody can draw it again",
        ),
    ),
)


def draw_form(months: Sequence[date], operators: Options) -> FormShown:
    """Args: months: published, the newest first. operators: id, name."""
    month, person = DRAW.fields
    shown = tuple((f"{one:%Y-%m}", month_name(one)) for one in months)
    people = ((ALL, "all with exams to draw from"), *operators)
    return replace(DRAW, fields=(replace(month, options=shown), replace(person, options=people)))


def sample_forms(sample: Sample, picks: Sequence[Pick], readers: Options) -> tuple[FormShown, ...]:
    """Give out what waits, and add what stands out. readers: id, name."""
    waiting = tuple(
        (one.code, f"{one.code}: {one.shown}") for one in sample.exams if not one.second
    )
    forms: list[FormShown] = []
    if waiting and readers:
        forms.append(_assign(waiting, readers))
    if picks:
        forms.append(_pick(picks))
    return tuple(forms)


def _assign(waiting: Options, readers: Options) -> FormShown:
    return FormShown(
        "assign",
        "Give exams to a second reader",
        "Give out",
        (
            Field("codes", "Exams", CHECKS, waiting, hint="none ticked: all of them"),
            Field("reader", "Second reader", CHOICE, (("", "choose"), *readers)),
        ),
    )


def _pick(picks: Sequence[Pick]) -> FormShown:
    exams = tuple((one.exam_key, f"{one.reason}: {one.shown}") for one in picks)
    reasons = tuple((one.value, one.value) for one in PickReason)
    return FormShown(
        "pick",
        "Add exams that stand out",
        "Add them",
        (
            Field("exams", "Exams far out in the month", CHECKS, exams),
            Field("reason", "Why", CHOICE, (("", "choose"), *reasons)),
        ),
    )
