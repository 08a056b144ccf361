"""Compare what a manifest states with what was computed again, and with what the PDF prints."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from qa.model.errors import UserError
from qa.readers.pdf_text import read_pdf_pages

OF_SINGLE_EXAMS = ("exam.", "repeats.", "change.", "ask.")
"""Names of figures that are made from rows of exams or of quarantine, not from counts."""
MADE_FROM = ("network_id", "criteria_id", "criteria", "grade_tables", "source_files")
Figure = Mapping[str, Any]
_NUMBER = re.compile(r"\d[\d,.]*")


@dataclass(frozen=True)
class Compared:
    """problems: what differs. not_compared: figures that this version prints no more.
    reworded: figures whose words are others and whose numbers are the same.
    """

    problems: list[str]
    n_equal: int
    not_compared: tuple[str, ...] = ()
    reworded: tuple[str, ...] = ()


def compare_same_version(manifest: Figure, fresh: Figure, *, given_by: str) -> Compared:
    """Every figure, whole, and their order. given_by: "the snapshot", "the warehouse"."""
    stated, computed = _by_name(manifest), _by_name(fresh)
    problems = [
        f"figure {name} is stated but {given_by} gives none"
        for name in stated
        if name not in computed
    ]
    for name, one in computed.items():
        if name not in stated:
            problems.append(f"figure {name} is missing from the manifest")
        elif stated[name] != one:
            problems.append(f"figure {name}: {_difference(stated[name], one)}")
    if not problems and [*stated] != [*computed]:
        problems.append("the figures of the manifest stand in another order")
    n_equal = sum(computed.get(name) == one for name, one in stated.items())
    return Compared(problems, n_equal)


def compare_older_version(manifest: Figure, fresh: Figure) -> Compared:
    """Figures of an older version: values and numbers of exams; of words, the numbers in them."""
    stated, computed = _by_name(manifest), _by_name(fresh)
    problems: list[str] = []
    reworded: list[str] = []
    shared = [name for name in stated if name in computed]
    for name in shared:
        old, new = stated[name], computed[name]
        same_value = (old.get("value"), old.get("n")) == (new["value"], new["n"])
        words = f"{old.get('text')} {old.get('interval')}", f"{new['text']} {new['interval']}"
        if not same_value or _numbers(words[0]) != _numbers(words[1]):
            problems.append(f"figure {name}: {_difference(old, new)}")
        elif words[0] != words[1]:
            reworded.append(name)
    gone = tuple(name for name in stated if name not in computed)
    return Compared(problems, len(shared) - len(problems), gone, tuple(reworded))


def _by_name(manifest: Figure) -> dict[str, Figure]:
    return {str(one.get("name")): one for one in manifest["figures"]}


def _numbers(words: str) -> list[str]:
    return sorted(found.rstrip(".,") for found in _NUMBER.findall(words))


def _difference(stated: Figure, computed: Figure) -> str:
    parts = [
        f"{key} {stated.get(key)!r} stated, {computed.get(key)!r} computed"
        for key in computed
        if stated.get(key) != computed.get(key)
    ]
    return ", ".join(parts) or "it holds more than a figure should"


def origin_problems(manifest: Figure, fresh: Figure) -> list[str]:
    """What the pack says it was made from, against the snapshot."""
    return [
        f"{key.replace('_', ' ')} of the manifest differ from the snapshot's"
        for key in MADE_FROM
        if manifest.get(key) != fresh[key]
    ]


def without_single_exams(manifest: Figure, fresh: Figure) -> dict[str, Any]:
    """What was computed again, with the stated words about single exams put in their places.

    A file whose only exams of the month were removed is no source of the snapshot any more.
    """
    computed = {one["name"]: one for one in fresh["figures"]}
    figures = [
        one if str(one.get("name", "")).startswith(OF_SINGLE_EXAMS) else computed.get(one["name"])
        for one in manifest["figures"]
    ]
    stated = manifest.get("source_files") or []
    is_part = all(one in stated for one in fresh["source_files"])
    return {
        **fresh,
        "figures": [one for one in figures if one],
        "source_files": stated if is_part else fresh["source_files"],
    }


def print_problems(pdf: bytes, figures: Sequence[Figure]) -> list[str]:
    """Figures that do not stand in the PDF's text, searched one after the other."""
    try:
        tokens = _document_tokens(read_pdf_pages(pdf))
    except UserError as problem:
        return [problem.what]
    at = 0
    problems = []
    for figure in figures:
        for words in (figure.get("text", ""), figure.get("interval", "")):
            wanted = _tokens(str(words))
            if not wanted:
                continue
            found = _find(tokens, wanted, at)
            if found is None:
                name = figure.get("name")
                problems.append(f"figure {name}: '{words}' is not printed in its place")
                break
            at = found
    return problems


def _document_tokens(pages: Sequence[str]) -> list[str]:
    """Words of all pages without what repeats on each: header, caution, page x of y."""
    split = [_tokens(page) for page in pages]
    same = 0
    # On a single page nothing can be told from what would repeat.
    while len(split) > 1 and all(
        len(page) > same and page[same] == split[0][same] for page in split
    ):
        same += 1
    n_last = len(_tokens("page 1 of 1"))
    return [token for page in split for token in page[same : len(page) - n_last]]


def _tokens(words: str) -> list[str]:
    """Words without the punctuation around them, so that line breaks and brackets do not matter."""
    stripped = (word.strip("().,;:") for word in words.split())
    return [word for word in stripped if word]


def _find(tokens: Sequence[str], wanted: Sequence[str], start: int) -> int | None:
    """Place after the first run of whole words that spell what is wanted; None without one.

    Words are joined, because the page breaks very long ones.
    """
    spelled = "".join(wanted)
    for at in range(start, len(tokens)):
        rest, end = spelled, at
        while rest and end < len(tokens) and rest.startswith(tokens[end]):
            rest = rest[len(tokens[end]) :]
            end += 1
        if not rest:
            return end
    return None
