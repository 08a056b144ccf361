"""Forms of the notes at charts."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from qa.followup.annotations import Annotation
from qa.model.case_words import AnnotationKind
from qa.views.case_page import CHOICE, DAY, TEXT, Field, FormShown
from qa.views.shown import Table

NOTE = FormShown(
    "note",
    "Write a note",
    "Write it",
    (
        Field("day", "On which day", DAY),
        Field(
            "what_happened",
            "What happened",
            CHOICE,
            (("", "choose"), *((one.value, one.value) for one in AnnotationKind)),
        ),
        Field("words", "In words", TEXT),
    ),
)
TAKE_BACK = FormShown(
    "take-back",
    "Take a note back",
    "Take it back",
    (
        Field("note", "Which", CHOICE),
        Field("why", "Why", TEXT, hint="the note leaves the charts and stays in the record"),
    ),
)


def note_forms(found: Sequence[Annotation]) -> tuple[FormShown, ...]:
    """Args: found: the unit's notes that stand in its charts."""
    if not found:
        return (NOTE,)
    which, why = TAKE_BACK.fields
    options = tuple((one.annotation_id, f"{one.day}, {one.kind}: {one.words}") for one in found)
    return NOTE, replace(TAKE_BACK, fields=(replace(which, options=options), why))


def notes_table(found: Sequence[Annotation], *, names: Mapping[str, str]) -> Table:
    rows = tuple(
        (str(one.day), one.kind, f"{names.get(one.by, one.by)}, {one.at[:10]}", one.words)
        for one in sorted(found, key=lambda one: one.day, reverse=True)
    )
    return Table("Notes at these charts", ("Day", "What", "By whom", "In words"), rows)
