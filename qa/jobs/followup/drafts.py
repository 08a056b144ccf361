"""Drafts of documents: from the definitions that come with the program, or from a file."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from qa.followup.decide_document import Draft
from qa.followup.differences import find_differences
from qa.model.document_words import DocumentKind
from qa.model.errors import FollowupError
from qa.model.parsing import parse_criteria_set, parse_grade_table, parse_measure
from qa.stores.definitions import read_definition_texts

PARSERS: dict[DocumentKind, tuple[str, Callable[..., Any]]] = {
    DocumentKind.CRITERIA: ("criteria", parse_criteria_set),
    DocumentKind.GRADES: ("grades", parse_grade_table),
    DocumentKind.MEASURE: ("measures", parse_measure),
}


def find_definition(kind: DocumentKind, definition_id: str) -> tuple[str, Any]:
    """Text and definition of a criteria set, grade table or measure of the program.

    Raises: FollowupError FUP-077 when there is none.
    """
    folder, parse = PARSERS[kind]
    known = {}
    for name, text in read_definition_texts()[folder].items():
        thing = parse(text, where=name)
        known[thing.id] = (text, thing)
    if definition_id not in known:
        raise FollowupError(
            f"there is no {kind} '{definition_id[:60]}'",
            expected=f"one of {', '.join(sorted(known))}",
            todo="Name one of these, or give the text with --file",
            code="FUP-077",
        )
    return known[definition_id]


def draft_of_definition(kind: DocumentKind, text: str, *, where: str) -> Draft:
    """Raises: DefinitionError when the text is no such definition."""
    thing = PARSERS[kind][1](text, where=where)
    ending = f".v{thing.version}"
    series = thing.id.removesuffix(ending)
    return Draft(kind, series, thing.version, thing.title, thing.fingerprint, text)


def draft_of_protocol(
    path: Path, *, series: str, version: int, title: str, site_id: str | None
) -> Draft:
    """A local protocol from its file; a text is kept whole, of others the fingerprint is.

    Raises: FollowupError FUP-078 when the file cannot be read.
    """
    content = read_file(path)
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        text = ""
    fingerprint = hashlib.sha256(content).hexdigest()
    is_text = text and all(one.isprintable() or one in "\r\n\t" for one in text)
    return Draft(
        DocumentKind.PROTOCOL, series, version, title, fingerprint, text if is_text else "", site_id
    )


def read_file(path: Path) -> bytes:
    """Raises: FollowupError FUP-078 when the file cannot be read."""
    try:
        return path.read_bytes()
    except OSError as problem:
        raise FollowupError(
            f"cannot be read ({problem.strerror})", where=str(path), code="FUP-078"
        ) from None


def changes_between(kind: DocumentKind, before_id: str, text: str) -> tuple[str, ...]:
    """What a text says otherwise than a definition of the program."""
    return find_differences(find_definition(kind, before_id)[0], text)
