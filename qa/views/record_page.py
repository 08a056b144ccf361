"""One document under control, and signing for a requirement: what is shown, and the forms."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qa.followup.documents import Document, plain_document
from qa.followup.statements import Statement, plain_statement
from qa.model.requirement import Requirement
from qa.views import words
from qa.views.case_page import CHOICE, DAY, TEXT, Field, FormShown

_WHY = Field("why", "Why", TEXT)
APPROVE = FormShown(
    "approve",
    "Approve",
    "Approve it",
    (Field("words", "A remark", TEXT, is_needed=False),),
)
TURN_DOWN = FormShown("turn-down", "Turn it down", "Do not approve it", (_WHY,))
READ = FormShown("read", "Reading", "I have read it")
WITHDRAW = FormShown("withdraw", "Take it back", "Withdraw it", (_WHY,))
END = FormShown("end", "End", "End it", (Field("on", "First day without it", DAY), _WHY))


@dataclass(frozen=True)
class PlainView:
    """A plain page: its answer, named facts, lines of a text, and who did what."""

    answer: str
    subline: str
    facts: tuple[tuple[str, str], ...]
    history: tuple[tuple[str, str, str], ...] = ()
    exams: tuple[tuple[str, str, str], ...] = ()
    months: tuple[tuple[str, str, str], ...] = ()
    comments: tuple[tuple[str, str], ...] = ()
    check_text: str = ""
    text: str = ""


def document_view(document: Document, *, on: date) -> PlainView:
    """One version with its differences, its readers and its text."""
    fields = plain_document(document)
    fields["Differences"] = "; ".join(document.differences) or "none known"
    state = document.state_on(on)
    read = words.counted(len(document.reads), "person", "people")
    history = [(document.proposed_at[:16], document.proposed_by, "proposed")]
    if document.is_approved:
        history.append((document.approved_at[:16], document.approved_by, "approved"))
    history += [(one.at[:16], one.by, "read") for one in document.reads]
    return PlainView(
        answer=f"{document.title} ({document.document_id}) is {state}.",
        subline=f"In force from {document.from_day}; read by {read}.",
        facts=tuple((name, value) for name, value in fields.items() if value),
        history=tuple(history),
        text=document.content,
    )


def document_forms(
    document: Document, *, user_id: str, may_approve: bool, may_read: bool
) -> tuple[FormShown, ...]:
    """What this person may do with it now; who proposed it is not offered to approve it."""
    is_waiting = not document.is_approved and not document.refused_by
    forms: list[FormShown] = []
    if is_waiting and may_approve:
        own = document.proposed_by == user_id
        forms += [TURN_DOWN] if own else [APPROVE, TURN_DOWN]
    has_read = user_id in {one.by for one in document.reads}
    if document.is_approved and may_read and not has_read:
        forms.append(READ)
    if document.is_approved and document.ended_on is None and may_approve:
        forms.append(END)
    return tuple(forms)


def statement_view(one: Statement, requirement: Requirement) -> PlainView:
    """What somebody signed for, and whether it still speaks."""
    says = "met" if one.is_met else "not met"
    state = "It was withdrawn." if one.withdrawn_by else "It stands."
    history = [(one.at[:16], one.by, "signed")]
    if one.withdrawn_by:
        history.append((one.withdrawn_at[:16], one.withdrawn_by, "withdrawn"))
    return PlainView(
        answer=f"{requirement.title}: signed as {says} by {one.by} ({one.statement_id}).",
        subline=f"It speaks for {one.from_month:%Y-%m} to {one.until}. {state}",
        facts=tuple((name, value) for name, value in plain_statement(one).items() if value),
        history=tuple(history),
    )


def sign_view(requirement: Requirement, site_name: str) -> PlainView:
    return PlainView(
        answer=f"Sign for: {requirement.title}, {site_name}",
        subline="A statement in your name that stays on record; it can be taken back, not changed.",
        facts=(("What is asked", requirement.asks), ("Clause", requirement.clause_words)),
    )


def sign_form(months: Sequence[date]) -> FormShown:
    """months: first months that can be chosen, newest first."""
    return FormShown(
        "sign",
        "Your statement",
        "Sign",
        (
            Field(
                "answer",
                "The requirement is",
                CHOICE,
                (("", "choose"), ("met", "met"), ("not met", "not met")),
            ),
            Field("words", "What was found, and where it can be seen", TEXT),
            Field(
                "from_month",
                "From the month",
                CHOICE,
                tuple((f"{month:%Y-%m}", f"{month:%Y-%m}") for month in months),
            ),
            Field("until", "Until the day", DAY, hint="At most two years after the first month."),
        ),
    )
