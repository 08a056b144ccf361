"""Record: what did we comply with, then?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from qa.followup.compliance import Verdict, due_words
from qa.followup.documents import Document
from qa.followup.judge_data import Evidence
from qa.followup.retention import retention_rows
from qa.followup.statements import Statement
from qa.followup.trail import TrailCheck
from qa.model.definitions import Site
from qa.model.document_words import Compliance
from qa.model.months import month_name
from qa.model.words import PointState
from qa.views import words
from qa.views.record_lists import NOBODY, TrailState, document_rows, statement_rows, trail_state
from qa.views.sheets import Sheet

MARKS: dict[Compliance, str] = {
    Compliance.MET: PointState.STEADY.value,
    Compliance.NOT_MET: PointState.LOOK.value,
    Compliance.NO_EVIDENCE: PointState.WATCH.value,
}
"""Dot, filled diamond, hollow diamond; always with the word."""


@dataclass(frozen=True)
class RecordCell:
    """One requirement in one month. said: for whoever points at it."""

    month: date
    answer: Compliance
    mark: str
    said: str


@dataclass(frozen=True)
class RecordRow:
    """One requirement: its months, oldest first, and what was found in the chosen one."""

    requirement_id: str
    title: str
    cells: tuple[RecordCell, ...]
    answer: Compliance
    mark: str
    sentence: str


@dataclass(frozen=True)
class RecordDetail:
    """The evidence of one requirement in the chosen month, with the rule that was in force then."""

    title: str
    answer: Compliance
    mark: str
    sentence: str
    facts: tuple[tuple[str, str], ...]
    evidence: tuple[Evidence, ...]
    can_be_signed: bool


@dataclass(frozen=True)
class RecordView:
    """The Record screen of one site. detail: None where no requirement is chosen."""

    answer: str
    subline: str
    months: tuple[date, ...]
    rows: tuple[RecordRow, ...]
    detail: RecordDetail | None
    documents: tuple[tuple[str, ...], ...]
    statements: tuple[tuple[str, ...], ...]
    trail: TrailState
    retention: tuple[tuple[str, str, str], ...]


def record_view(
    verdicts: Sequence[Verdict],
    documents: Sequence[Document],
    statements: Sequence[Statement],
    trail: TrailCheck | None,
    *,
    site: Site,
    month: date,
    requirement_id: str | None,
    is_then: bool,
    retention_years: dict[str, int],
    names: Mapping[str, str] = NOBODY,
) -> RecordView:
    """What a site complied with, month by month.

    Args:
        verdicts: of one site, all requirements and months on show, the chosen month among them.
        documents, statements: as they stood at the moment as which the chosen month is known.
        trail: as it was walked now.
        names: account's id → name.
        is_then: verdicts are those as known then, not as known now.
    """
    chosen = [one for one in verdicts if one.month == month]
    detail = next((one for one in chosen if one.requirement.id == requirement_id), None)
    return RecordView(
        answer=_answer(chosen, site.name, month),
        subline=_subline(chosen, month, is_then=is_then),
        months=tuple(sorted({one.month for one in verdicts})),
        rows=tuple(_row(one, verdicts) for one in chosen),
        detail=_detail(detail) if detail else None,
        documents=document_rows(documents, on=_last_day(month), site_id=site.id, names=names),
        statements=statement_rows(
            statements, [one.requirement for one in chosen], month=month, names=names
        ),
        trail=trail_state(trail),
        retention=retention_rows(retention_years),
    )


def _last_day(month: date) -> date:
    following = date(month.year + month.month // 12, month.month % 12 + 1, 1)
    return date.fromordinal(following.toordinal() - 1)


def _answer(chosen: Sequence[Verdict], site_name: str, month: date) -> str:
    n = {answer: sum(one.answer is answer for one in chosen) for answer in Compliance}
    share = words.share_of(n[Compliance.MET], len(chosen), "requirement")
    text = f"{site_name} met {share} in {month_name(month)}"
    missed = n[Compliance.NOT_MET]
    text += f"; {words.number_word(missed)} not met" if missed else "; none was missed"
    lacking = n[Compliance.NO_EVIDENCE]
    return f"{text}, no evidence for {words.number_word(lacking)}." if lacking else f"{text}."


def _subline(chosen: Sequence[Verdict], month: date, *, is_then: bool) -> str:
    if not chosen:
        return ""
    one = chosen[0]
    moment = f"{one.known_at:%Y-%m-%d %H:%M} UTC"
    snapshot = f"figures of snapshot {one.snapshot_id}" if one.snapshot_id else "nothing published"
    if not is_then:
        return f"As known now, {moment}: {snapshot}, with all that was recorded since."
    if one.is_provisional:
        return f"Not final: evidence is due by {due_words(month)}. Known so far: {snapshot}."
    if one.known_at.date() > date.fromisoformat(due_words(month)):
        return (
            f"Evidence was due by {due_words(month)}, before anything was published. Known is what "
            f"was there at the first publication, {moment}: {snapshot}."
        )
    return f"As known then, {moment}: {snapshot}. What was recorded later is not looked at."


def _row(one: Verdict, verdicts: Sequence[Verdict]) -> RecordRow:
    own = sorted(
        (other for other in verdicts if other.requirement.id == one.requirement.id),
        key=lambda other: other.month,
    )
    return RecordRow(
        requirement_id=one.requirement.id,
        title=one.requirement.title,
        cells=tuple(
            RecordCell(
                other.month,
                other.answer,
                MARKS[other.answer],
                f"{other.requirement.title}, {month_name(other.month)}: {other.answer}. "
                f"{other.found.sentence}",
            )
            for other in own
        ),
        answer=one.answer,
        mark=MARKS[one.answer],
        sentence=one.found.sentence,
    )


def _detail(one: Verdict) -> RecordDetail:
    asked = one.requirement
    limit = ""
    if asked.at_least_share is not None:
        limit = f"At least {words.percent(asked.at_least_share)}, {asked.limit_source}"
    elif asked.at_most_share is not None:
        limit = f"At most {words.percent(asked.at_most_share)}, {asked.limit_source}"
    facts = (
        ("What is asked", asked.asks),
        ("Clause", asked.clause_words),
        ("Limit", limit),
        ("Looked at", asked.evidence),
        ("Rule in force then", f"{asked.full_id}, fingerprint {asked.fingerprint}"),
        ("Known at", f"{one.known_at:%Y-%m-%d %H:%M} UTC"),
        ("Snapshot", one.snapshot_id or "none"),
    )
    return RecordDetail(
        title=f"{asked.title}, {month_name(one.month)}",
        answer=one.answer,
        mark=MARKS[one.answer],
        sentence=one.found.sentence,
        facts=tuple((name, value) for name, value in facts if value),
        evidence=one.found.evidence,
        can_be_signed=asked.rule == "signed",
    )


def record_sheet(verdicts: Sequence[Verdict]) -> Sheet:
    """The verdicts on screen as rows."""
    headings = (
        *("site_id", "month", "requirement", "version", "title", "clause", "clause_mark"),
        *("answer", "found", "evidence", "known_at", "is_provisional", "snapshot_id"),
        "fingerprint",
    )
    return Sheet(
        headings,
        tuple(
            (
                *(one.site_id, f"{one.month:%Y-%m}", one.requirement.id, one.requirement.version),
                *(one.requirement.title, one.requirement.clause, one.requirement.clause_mark),
                *(str(one.answer), one.found.sentence),
                "; ".join(item.words for item in one.found.evidence),
                one.known_at.isoformat(timespec="seconds"),
                one.is_provisional,
                one.snapshot_id,
                one.requirement.fingerprint,
            )
            for one in verdicts
        ),
    )
