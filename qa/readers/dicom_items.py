"""DICOM bytes → what an exam needs of header and content tree, as plain text.

Everything that touches the general reader of DICOM is here, so that nothing of its many errors
gets through. Its import is put off until a file asks for it.
"""

import io
import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from qa.model.errors import SourceFileError, UserError
from qa.readers.bounds import is_damaged, too_many
from qa.readers.dicom_codes import word_of
from qa.readers.dicom_lengths import check_whole

_MARK_AT = 128
_MARK = b"DICM"
_ANY_REPORT = "1.2.840.10008.5.1.4.1.1.88."
_ITEM_MARKS = (b"\xfe\xff\x00\xe0", b"\xff\xfe\xe0\x00")
_MAX_ITEMS = 20_000
_MAX_DEPTH = 24
_MAX_TEXT = 1_024

HEADER = ("PatientID", "PatientSex", "PatientAge", "PatientBirthDate", "PatientSize",
          "PatientWeight", "AccessionNumber", "StudyInstanceUID", "StudyDate", "StudyTime",
          "TimezoneOffsetFromUTC", "DeviceSerialNumber", "CompletionFlag",
          "PreliminaryFlag")  # fmt: skip
"""Elements of the header that are read; every other one, names included, is left alone."""


@dataclass
class Item:
    """A content item: our word of its concept, and its value.

    word: "" for a concept that no exam needs.   value: number or text.   unit: UCUM code.
    code: our word of a coded value, or of the reason why a number is missing.
    """

    kind: str
    word: str
    value: str = ""
    unit: str = ""
    code: str = ""
    children: list["Item"] = field(default_factory=list)


@dataclass(frozen=True)
class Report:
    """Header values by keyword, the operator's code, and the root of the content tree."""

    header: dict[str, str]
    operator: str
    root: Item


def load_report(content: bytes, *, name: str) -> Report:
    """Read a structured report.

    Raises: SourceFileError INT-023 (too many items), INT-024 (no DICOM), INT-025 (damaged), INT-034
            (no structured report, compressed, or a value of a wrong shape), INT-035.
    """
    if content[_MARK_AT : _MARK_AT + 4] != _MARK:
        raise SourceFileError(
            "this is no DICOM file",
            where=name,
            expected="a DICOM file with its preamble",
            todo="Send the right file, or mend `format` in the profile",
            code="INT-024",
        )
    n_items = max(content.count(mark) for mark in _ITEM_MARKS)
    if n_items > _MAX_ITEMS:
        raise too_many("content items", n_items, _MAX_ITEMS, where=name)
    check_whole(content, name=name)
    try:
        with _without_warnings():
            return _load(content, name=name)
    except UserError:
        raise
    except Exception:  # The reader of DICOM raises a dozen kinds for a broken file.
        raise is_damaged(name) from None


@contextmanager
def _without_warnings() -> Iterator[None]:
    """The reader of DICOM warns of every odd value and shows it; values must not get out."""
    log = logging.getLogger("pydicom")
    was_disabled, log.disabled = log.disabled, True
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        log.disabled = was_disabled


def _load(content: bytes, *, name: str) -> Report:
    import pydicom

    dataset = pydicom.dcmread(io.BytesIO(content))
    if not str(dataset.get("SOPClassUID", "")).startswith(_ANY_REPORT):
        raise wrong_shape(name, "this is no structured report", "a DICOM structured report (SR)")
    header = {keyword: _text(dataset, keyword, name=name) for keyword in HEADER}
    return Report(header, _operator(dataset, name=name), _item(dataset, name=name, depth=0))


def _text(dataset: Any, keyword: str, *, name: str) -> str:
    """One value as text; several values, or a very long one, have no place here."""
    if keyword not in dataset:
        return ""
    value = dataset[keyword].value
    if value is None:
        return ""
    if isinstance(value, (list, tuple)) or (
        not isinstance(value, str) and hasattr(value, "append")
    ):
        raise wrong_shape(name, f"{keyword} has several values", "one value")
    text = str(value).strip(" \0")
    if len(text) > _MAX_TEXT:
        raise wrong_shape(name, f"{keyword} has {len(text):,} characters", "a short value")
    return text


def _sequence(dataset: Any, keyword: str) -> list[Any]:
    return list(dataset[keyword].value or []) if keyword in dataset else []


def _word(dataset: Any, keyword: str, *, name: str) -> str:
    for code in _sequence(dataset, keyword)[:1]:
        parts = [_text(code, part, name=name) for part in ("CodingSchemeDesignator", "CodeMeaning")]
        return word_of(_code_value(code, name=name), *parts, where=name)
    return ""


_CODE_VALUES = ("CodeValue", "LongCodeValue", "URNCodeValue")
"""A code has one of them: the first holds 16 characters at most (DICOM PS3.3, 8.1 and 8.2)."""


def _code_value(code: Any, *, name: str) -> str:
    values = {_text(code, keyword, name=name) for keyword in _CODE_VALUES} - {""}
    if len(values) > 1:
        raise wrong_shape(name, "a code has two values", f"one of {', '.join(_CODE_VALUES)}")
    return next(iter(values), "")


def _operator(dataset: Any, *, name: str) -> str:
    """Code of the only operator; a name is never read."""
    people = _sequence(dataset, "OperatorIdentificationSequence")
    if len(people) != 1:
        return ""
    codes = _sequence(people[0], "PersonIdentificationCodeSequence")
    return _code_value(codes[0], name=name) if len(codes) == 1 else ""


def _item(dataset: Any, *, name: str, depth: int) -> Item:
    if depth > _MAX_DEPTH:
        raise wrong_shape(name, "the content is nested too deep", f"{_MAX_DEPTH} levels at most")
    item = Item(
        kind=_text(dataset, "ValueType", name=name),
        word=_word(dataset, "ConceptNameCodeSequence", name=name),
    )
    if item.kind == "NUM":
        item.code = _word(dataset, "NumericValueQualifierCodeSequence", name=name)
        for measured in _sequence(dataset, "MeasuredValueSequence")[:1]:
            item.value = _text(measured, "NumericValue", name=name)
            item.unit = _unit(measured, name=name)
    elif item.kind == "CODE":
        item.code = _word(dataset, "ConceptCodeSequence", name=name)
    elif item.kind == "TEXT" and item.word:
        item.value = _text(dataset, "TextValue", name=name)
    children = _sequence(dataset, "ContentSequence")
    item.children = [_item(child, name=name, depth=depth + 1) for child in children]
    return item


def _unit(measured: Any, *, name: str) -> str:
    """UCUM code of the unit; of another scheme the code in marks, which is no unit of ours."""
    for code in _sequence(measured, "MeasurementUnitsCodeSequence")[:1]:
        value = _code_value(code, name=name)
        scheme = _text(code, "CodingSchemeDesignator", name=name)
        return value if scheme == "UCUM" else f"[{value} of {scheme}]"
    return "[no unit]"


def wrong_shape(name: str, what: str, expected: str) -> SourceFileError:
    """Error INT-034."""
    return SourceFileError(
        what, where=name, expected=expected, todo="Have the export mended", code="INT-034"
    )
