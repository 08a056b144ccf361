"""JSON Lines → raw rows: one flat object a line."""

from typing import Any

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.readers.bounds import check_lines, check_size, refuse_empty, unpack_gzip
from qa.readers.json_text import Number, json_lines
from qa.readers.rows import Headings, Rows, no_rows, refuse_doubled


def read_jsonl(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read one file's bytes; keys are headings.

    Args:     content: the whole file, plain or gzip; UTF-8.   name: for messages.
    Returns:  ROW_NO (the number of the line), then one text column for each key, in the order in
              which they are first met. Numbers keep their digits and get the profile's decimal
              sign; true and false are words; null, "" and an absent key are null. Lines without
              content are left out.
    Raises:   SourceFileError INT-001, INT-002, INT-004, INT-006, INT-007, INT-020 to INT-023,
              INT-025, INT-029 (a value is nested), INT-030, INT-031.
    """
    check_size(len(content), name=name, file_format="jsonl")
    content = unpack_gzip(content, name=name, file_format="jsonl")
    check_lines(content, name=name)
    refuse_empty(content, name=name)
    rows = Rows(name=name, n_bytes=len(content))
    headings = Headings(name)
    for number, value in json_lines(content, name=name):
        where = f"{name}, line {number}"
        if not isinstance(value, dict):
            raise _no_object(where)
        cells = {}
        for key, item in value.items():
            cells[headings[key]] = _cell(item, where=where, decimal=profile.decimal)
        if len(cells) < len(value):
            refuse_doubled([headings[key] for key in value], where=where, profile=profile)
        rows.add(number, cells)
    if not rows.n_rows:
        raise no_rows(name, expected="one JSON object a line")
    frame = rows.frame()
    refuse_doubled(frame.columns[1:], where=name, profile=profile)
    return frame


def _cell(value: Any, *, where: str, decimal: str) -> str:
    if isinstance(value, Number):
        return value.replace(".", decimal)
    if isinstance(value, str):
        return value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    raise SourceFileError(
        "a value is an object or a list",
        where=where,
        expected="flat objects: every value a text, a number, true, false or null",
        todo="Export one exam a line without nesting, or as FHIR",
        code="INT-029",
    )


def _no_object(where: str) -> SourceFileError:
    return SourceFileError(
        "the line holds no JSON object",
        where=where,
        expected='for example {"exam": "A-17", "kpa": 5.4}',
        todo="Export one exam a line as JSON object",
        code="INT-030",
    )
