"""Lists of the Record screen: documents, signed statements, the trail's state."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from qa.followup.documents import Document
from qa.followup.statements import Statement
from qa.followup.trail import TrailCheck
from qa.model.document_words import Compliance
from qa.model.requirement import Requirement
from qa.views import words

READERS_NAMED = 3
NOBODY: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True)
class TrailState:
    """What a walk through the trail found. answer: met where whole. faults: the first ones."""

    answer: Compliance
    word: str
    sentence: str
    faults: tuple[str, ...] = ()


def trail_state(found: TrailCheck | None) -> TrailState:
    """Example: 'The trail is whole: 703 lines, none altered, removed or moved.'"""
    if found is None or not found.n_rows:
        return TrailState(Compliance.NO_EVIDENCE, "empty", "The trail has no line yet.")
    if found.faults:
        told = tuple(one.sentence for one in found.faults[:20])
        n = words.counted(len(found.faults), "fault")
        return TrailState(Compliance.NOT_MET, "not whole", f"The trail is not whole: {n}.", told)
    lines = words.counted(found.n_rows, "line")
    expired = f"; content of {found.n_expired:,} expired by rule" if found.n_expired else ""
    sentence = f"The trail is whole: {lines}, none altered, removed or moved{expired}."
    return TrailState(Compliance.MET, "whole", sentence)


def document_rows(
    documents: Sequence[Document], *, on: date, site_id: str = "", names: Mapping[str, str] = NOBODY
) -> tuple[tuple[str, ...], ...]:
    """Id, title, state on a day, from, approved by, who has read it; in force ones first."""
    in_order = sorted(documents, key=lambda one: (one.state_on(on) != "in force", one.document_id))
    return tuple(
        (
            one.document_id,
            f"{one.kind}: {one.title}",
            str(one.state_on(on)),
            f"{one.from_day}" + (f" to {one.ended_on}" if one.ended_on else ""),
            f"{name_of(one.approved_by, names)}, {one.approved_at[:10]}"
            if one.is_approved
            else "nobody",
            readers_words(one, site_id, names),
        )
        for one in in_order
    )


def name_of(user_id: str, names: Mapping[str, str]) -> str:
    return names.get(user_id, user_id)


def readers_words(document: Document, site_id: str, names: Mapping[str, str]) -> str:
    """Example: '11 people; of this site: lena'"""
    n = len(document.reads)
    here = sorted({name_of(one.by, names) for one in document.reads if site_id in one.sites})
    own = ", ".join(here[:READERS_NAMED]) + (" and others" if len(here) > READERS_NAMED else "")
    all_of_them = words.counted(n, "person", "people") if n else "nobody"
    return f"{all_of_them}; of this site: {own or 'nobody'}" if n and site_id else all_of_them


def statement_rows(
    statements: Sequence[Statement],
    requirements: Sequence[Requirement],
    *,
    month: date,
    names: Mapping[str, str] = NOBODY,
) -> tuple[tuple[str, ...], ...]:
    """Id, requirement, what it says, from, until, signed by, whether it speaks for a month."""
    titles = {one.id: one.title for one in requirements}
    in_order = sorted(statements, key=lambda one: (one.from_month, one.statement_id), reverse=True)
    return tuple(
        (
            one.statement_id,
            titles.get(one.requirement_id, one.requirement_id),
            ("met" if one.is_met else "not met")
            + ("" if one.site_id else ", for the whole network"),
            f"{one.from_month:%Y-%m} to {one.until}",
            f"{name_of(one.by, names)}, {one.at[:10]}",
            _speaks(one, month, names),
        )
        for one in in_order
    )


def _speaks(one: Statement, month: date, names: Mapping[str, str]) -> str:
    if one.withdrawn_by:
        return f"withdrawn by {name_of(one.withdrawn_by, names)}: {one.withdrawn_because}"
    site_id = one.site_id or ""
    return "yes" if one.speaks_for(one.requirement_id, site_id, month) else "no"
