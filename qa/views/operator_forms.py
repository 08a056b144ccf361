"""One operator's file in full, and the forms that keep it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from qa.followup.competence import OperatorFile, Training
from qa.followup.standing import Standing
from qa.model.competence_words import ANY_PROBE
from qa.model.words import Probe, Technique
from qa.views import words
from qa.views.case_page import CHOICE, DAY, LINE, NUMBER, TEXT, Field, FormShown
from qa.views.shown import Table

SIGNED, NOT_YET = "signed off", "not yet"
_DAY = Field("day", "On which day", DAY)
_WORDS = Field("words", "In words", TEXT)
_GIVEN_BY = Field("given_by", "Given by", LINE, hint="who taught; no name of a patient")


@dataclass(frozen=True)
class FileView:
    """A file as shown. seen: number of its newest event."""

    answer: str
    tables: tuple[Table, ...]
    seen: int


def file_view(
    file: OperatorFile, standing: Standing, *, name: str, names: Mapping[str, str]
) -> FileView:
    """Args: name: of the operator. names: account's id → name; an id without one stands itself."""
    lacks = "; ".join(standing.lacks)
    answer = f"{name} lacks: {lacks}." if lacks else f"Nothing lacks in the file of {name}."
    tables = (
        _taught("Training", file.trainings),
        _observed(file, names),
        _taught("Refreshers", file.refreshers),
        _authorised(file, names),
        Table(
            "Who did what",
            ("When (UTC)", "Who", "What"),
            tuple((_minute(at), names.get(by, by), kind) for at, by, kind in file.history[::-1]),
        ),
    )
    return FileView(answer, tuple(one for one in tables if one.rows), file.n_events)


def _minute(at: str) -> str:
    return at[:16].replace("T", " ")


def _taught(title: str, found: tuple[Training, ...]) -> Table:
    rows = tuple((str(one.day), one.given_by, one.words) for one in found[::-1])
    return Table(title, ("Day", "Given by", "In words"), rows)


def _observed(file: OperatorFile, names: Mapping[str, str]) -> Table:
    rows = tuple(
        (
            str(one.day),
            SIGNED if one.is_satisfactory else NOT_YET,
            one.observer,
            names.get(one.signed_by, one.signed_by),
            one.words or "–",
        )
        for one in file.observed[::-1]
    )
    headings = ("Day", "Verdict", "Watched by", "Entered by", "In words")
    return Table("Exams that were watched", headings, rows)


def _authorised(file: OperatorFile, names: Mapping[str, str]) -> Table:
    rows = tuple(
        (
            str(one.number),
            f"{one.technique}, {one.probe} probe",
            str(one.from_day),
            str(one.to_day or "open"),
            names.get(one.given_by, one.given_by),
            one.why_ended or "–",
        )
        for one in file.authorisations[::-1]
    )
    headings = ("No.", "What", "From", "To", "Given by", "Why it ended")
    return Table("Authorisations", headings, rows)


def file_forms(
    file: OperatorFile,
    *,
    on: date,
    may_keep: bool,
    may_authorise: bool,
    is_own: bool,
    n_needed: int,
) -> tuple[FormShown, ...]:
    """What somebody may enter. is_own: nobody signs off or authorises the own exams.

    Args: n_needed: observed exams before a first authorisation; fewer, and no form offers one.
    """
    forms: list[FormShown] = []
    if may_authorise and not is_own:
        forms += [_authorise(on)] if file.n_satisfactory >= n_needed else []
        open_ones = [one for one in file.authorisations if one.to_day is None or one.to_day >= on]
        forms += [_end(open_ones)] if open_ones else []
    if may_keep:
        forms += [] if is_own else [OBSERVE]
        forms += [TRAIN, REFRESH, EARLIER]
    return tuple(forms)


TRAIN = FormShown("train", "Training", "Enter the training", (_DAY, _GIVEN_BY, _WORDS))
REFRESH = FormShown("refresh", "Refresher", "Enter the refresher", (_DAY, _GIVEN_BY, _WORDS))
OBSERVE = FormShown(
    "observe",
    "An exam that was watched",
    "Enter the verdict",
    (
        _DAY,
        Field("observer", "Watched by", LINE),
        Field(
            "verdict",
            "Verdict",
            CHOICE,
            (("", "choose"), (SIGNED, SIGNED), (NOT_YET, NOT_YET)),
        ),
        Field(
            "words",
            "In words",
            TEXT,
            hint="needed where it is not signed off: what to work on",
            is_needed=False,
        ),
    ),
)
EARLIER = FormShown(
    "earlier",
    "Exams from before the exports begin",
    "State them",
    (Field("n", "How many", NUMBER), Field("words", "How that is known", TEXT)),
)


def _authorise(on: date) -> FormShown:
    probes = ((ANY_PROBE, "any"), *((one.value, one.value) for one in Probe))
    techniques = (("", "choose"), *((one.value, one.value) for one in Technique))
    return FormShown(
        "authorise",
        "Authorise",
        "Authorise",
        (
            Field("technique", "Technique", CHOICE, techniques),
            Field("probe", "Probe", CHOICE, probes),
            Field("from_day", "From", DAY, value=str(on)),
            Field("to_day", "To", DAY, is_needed=False),
        ),
    )


def _end(found: list) -> FormShown:
    return FormShown(
        "end",
        "End an authorisation",
        "End it",
        (
            Field("number", "Which", CHOICE, tuple((str(one.number), one.words) for one in found)),
            Field("to_day", "Last day", DAY),
            Field("why", "Why", TEXT),
        ),
    )


def needed_words(file: OperatorFile, *, n_needed: int) -> str:
    """Why no form offers an authorisation yet; "" where one does."""
    short = n_needed - file.n_satisfactory
    if short <= 0:
        return ""
    return (
        f"{words.counted(file.n_satisfactory, 'watched exam')} signed off; "
        f"an authorisation needs {n_needed}."
    )
