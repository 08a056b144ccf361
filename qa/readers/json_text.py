"""Strict JSON: numbers keep the digits that were written, a key stands once, depth is bounded."""

import codecs
import json
from collections.abc import Iterator
from typing import Any

from qa.model.errors import SourceFileError
from qa.readers.bounds import refuse_empty


class Number(str):
    """A JSON number as written: "9.20" stays "9.20", and long numbers lose no digit."""

    __slots__ = ()


class _DoubledKey(ValueError):
    pass


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table = dict(pairs)
    if len(table) != len(pairs):
        raise _DoubledKey
    return table


def _refuse_constant(word: str) -> None:
    raise ValueError(word)


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object,
    parse_float=Number,
    parse_int=Number,
    parse_constant=_refuse_constant,
)


def parse_json(text: str, *, where: str) -> Any:
    """Objects, lists, strings, Number, bool and None.

    Raises: SourceFileError INT-030 (no JSON, or nested too deep), INT-031 (a key stands twice).
    """
    try:
        return _DECODER.decode(text)
    except _DoubledKey:
        raise SourceFileError(
            "a key stands twice in one object",
            where=where,
            expected="each key once",
            todo="Mend the export",
            code="INT-031",
        ) from None
    except (ValueError, RecursionError) as problem:
        at = f" at character {problem.pos + 1}" if isinstance(problem, json.JSONDecodeError) else ""
        raise SourceFileError(
            f"this is no JSON{at}",
            where=where,
            expected="JSON as RFC 8259 defines it, not nested deeply",
            todo="Export it again",
            code="INT-030",
        ) from None


def decode_utf8(content: bytes, *, name: str, line_no: int | None = None) -> str:
    """JSON is UTF-8 by its standard; a byte-order mark is let pass.

    Args: line_no: of the only line that the content is; None: the line is counted.

    Raises: SourceFileError INT-001 (empty), INT-004 (other bytes).
    """
    refuse_empty(content, name=name)
    try:
        return content.removeprefix(codecs.BOM_UTF8).decode("utf-8")
    except UnicodeDecodeError as problem:
        line = line_no or content.count(b"\n", 0, problem.start) + 1
        raise SourceFileError(
            "the text is not in the encoding UTF-8",
            where=f"{name}, line {line}",
            expected="UTF-8, as JSON asks for",
            todo="Export in that encoding",
            code="INT-004",
        ) from None


def json_lines(content: bytes, *, name: str) -> Iterator[tuple[int, Any]]:
    """Line number and value of each line that is not blank; one line is decoded at a time."""
    start, number = 0, 0
    content = content.removeprefix(codecs.BOM_UTF8)
    while start < len(content):
        end = content.find(b"\n", start)
        end = len(content) if end < 0 else end
        number += 1
        line = content[start:end]
        start = end + 1
        if line.strip():
            text = decode_utf8(line, name=name, line_no=number)
            yield number, parse_json(text, where=f"{name}, line {number}")
