"""Classes of records: what each holds, how long it is kept, and what stays whatever its age.

National law decides how long; network.toml states it by class (years). What is not named there is
kept for ever. Published snapshots and issued packs are records too and are never removed.
"""

from collections.abc import Mapping, Sequence
from datetime import date

from qa.followup.documents import Document
from qa.followup.statements import Statement
from qa.model.document_words import DocumentState

RECORD_CLASSES: dict[str, str] = {
    "case": "signals followed to proof; open cases stay",
    "signal review": "signals that were not pursued, with the reason",
    "annotation": "notes in charts",
    "operator file": "training, observed exams and authorisations of an operator",
    "second reading": "samples that were read a second time",
    "document": "versions under control; what waits or is in force stays",
    "statement": "signed statements; those that still speak stay",
    "reminder": "what was queued to be told, and sent",
    "account": "changes of accounts and their roles",
    "log-in": "who logged in or failed to, and when",
    "use": "views of named data, exports and downloads",
}
ALWAYS_KEPT = {
    "retention": "what was removed, and up to when",
    "snapshots and packs": "published figures and issued packs with their manifests",
}


def kept_documents(documents: Sequence[Document], *, on: date) -> list[str]:
    """Ids of documents that stay whatever their age: those that wait, or are or come in force."""
    gone = (DocumentState.ENDED, DocumentState.REFUSED)
    return [one.document_id for one in documents if one.state_on(on) not in gone]


def kept_statements(statements: Sequence[Statement], *, on: date) -> list[str]:
    """Ids of statements that still speak for some month to come."""
    return [one.statement_id for one in statements if not one.withdrawn_by and one.until >= on]


def retention_rows(years: Mapping[str, int]) -> tuple[tuple[str, str, str], ...]:
    """Class, what it holds, how long it is kept; classes that there are none of at the end."""
    known = tuple(
        (name, words, f"{years[name]} years" if name in years else "for ever")
        for name, words in RECORD_CLASSES.items()
    )
    always = tuple((name, words, "for ever") for name, words in ALWAYS_KEPT.items())
    odd = tuple(
        (name, "there is no such class: mend network.toml", f"{number} years")
        for name, number in sorted(years.items())
        if name not in RECORD_CLASSES
    )
    return (*known, *always, *odd)
