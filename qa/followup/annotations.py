"""A note at a point of a chart: what happened there, by whom it was written, and when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qa.followup.records import RecordClass, clean_text
from qa.model.case_words import AnnotationKind
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent
from qa.model.words import UnitKind


@dataclass(frozen=True)
class Annotation:
    """What happened on a day to a unit. site_id None: to the whole network."""

    annotation_id: str
    unit_kind: str
    unit_id: str
    site_id: str | None
    day: date
    kind: str
    words: str
    by: str
    at: str
    is_withdrawn: bool = False
    withdrawn_because: str = ""
    n_events: int = 1


def replay_annotation(events: Sequence[Event]) -> Annotation:
    first, last = events[0], events[-1]
    told = first.values
    is_withdrawn = last.kind == "withdrawn"
    return Annotation(
        annotation_id=first.record_id,
        unit_kind=told["unit_kind"],
        unit_id=told["unit_id"],
        site_id=told["site_id"],
        day=date.fromisoformat(told["day"]),
        kind=told["kind"],
        words=told["words"],
        by=first.by,
        at=first.at,
        is_withdrawn=is_withdrawn,
        withdrawn_because=last.values["why"] if is_withdrawn else "",
        n_events=last.no,
    )


def plain_annotation(one: Annotation) -> dict[str, str]:
    return {
        "Unit": f"{one.unit_kind} {one.unit_id}",
        "Day": str(one.day),
        "Kind": one.kind,
        "Words": one.words,
        "Withdrawn": one.withdrawn_because,
    }


ANNOTATION = RecordClass("annotation", "the annotation", replay_annotation, plain_annotation)


def annotate(
    one: Annotation | None,
    *,
    unit_kind: str,
    unit_id: str,
    site_id: str | None,
    day: date,
    kind: str,
    words: str,
    on: date,
) -> list[NewEvent]:
    """Raises: FollowupError FUP-035 for a day ahead or a kind that is none; FUP-011 to FUP-013."""
    if one is not None:
        raise FollowupError("it is there already", where=one.annotation_id, code="FUP-021")
    if kind not in list(AnnotationKind) or unit_kind not in list(UnitKind) or day > on:
        raise FollowupError(
            f"{kind[:60]} of a {unit_kind[:60]} on {day}",
            where="annotation",
            expected=f"one of {', '.join(AnnotationKind)}, on a day up to today",
            code="FUP-035",
        )
    data = {
        "unit_kind": unit_kind,
        "unit_id": unit_id,
        "site_id": site_id,
        "day": day.isoformat(),
        "kind": kind,
        "words": clean_text(words, field="words", longest=400),
    }
    return [NewEvent("annotated", data)]


def withdraw_annotation(one: Annotation | None, *, why: str) -> list[NewEvent]:
    """The note stays in the record, charts show it no more."""
    if one is None or one.is_withdrawn:
        raise FollowupError("there is no such annotation in charts", code="FUP-014")
    return [NewEvent("withdrawn", {"why": clean_text(why, field="why")})]
