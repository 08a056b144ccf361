"""The parts of a workbook: a zip archive of XML, read piece by piece within bounds.

Only the parts that hold cells are read. Links to other files, macros, pictures and comments are
never opened. Format: ECMA-376 (Office Open XML), parts 1 and 2.
"""

import io
import posixpath
import zipfile
import zlib
from collections.abc import Iterator
from typing import Protocol
from xml.parsers import expat

from qa.model.errors import SourceFileError
from qa.readers.bounds import MIB, is_damaged, unpack_limit, unpacks_too_far

_PIECE = 64 * 1024
_MAX_PARTS = 10_000
_MAX_DEPTH = 64
_MAX_TOKEN = MIB
_BASE_ELEMENTS, _ELEMENTS_A_BYTE = 200_000, 2
_OLD_OR_LOCKED = b"\xd0\xcf\x11\xe0"
_ENTRY = b"PK\x01\x02"
_IS_ENCRYPTED = 1


class PartReader(Protocol):
    """Receives the elements of a part; prefixes of names are cut off."""

    def start(self, tag: str, attributes: dict[str, str]) -> None: ...

    def end(self, tag: str) -> None: ...

    def text(self, data: str) -> None: ...


class Parts:
    """A workbook's parts.

    Raises: SourceFileError INT-021 (unpacks too far), INT-024 (no workbook of this kind), INT-025
            (damaged), INT-026 (an old workbook, or locked by a password), INT-028 (declares
            entities).
    """

    def __init__(self, content: bytes, *, name: str) -> None:
        self._name = name
        self._left = _BASE_ELEMENTS + _ELEMENTS_A_BYTE * len(content)
        if content.startswith(_OLD_OR_LOCKED):
            raise _old_or_locked(name)
        if not content.startswith(b"PK"):
            raise no_workbook(name)
        if content.count(_ENTRY) > _MAX_PARTS:
            raise is_damaged(name, f"the archive has more than {_MAX_PARTS:,} parts")
        try:
            self._archive = zipfile.ZipFile(io.BytesIO(content))
        except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
            raise is_damaged(name) from None
        self._parts = {info.filename: info for info in self._archive.infolist()}
        self._check_directory(len(content))

    def _check_directory(self, n_packed: int) -> None:
        parts = self._archive.infolist()
        if len(self._parts) < len(parts):
            raise is_damaged(self._name, "a part stands twice in the archive")
        if any(info.flag_bits & _IS_ENCRYPTED for info in parts):
            raise _old_or_locked(self._name)
        limit = unpack_limit(n_packed, file_format="xlsx")
        if sum(info.file_size for info in parts) > limit:
            raise unpacks_too_far(self._name, limit)
        if any(info.compress_type not in (0, zipfile.ZIP_DEFLATED) for info in parts):
            raise is_damaged(self._name, "a part is packed in a way that workbooks do not use")

    def has(self, part: str) -> bool:
        return part in self._parts

    def read(self, part: str, reader: PartReader) -> None:
        """Hand a part's elements to the reader; a part that is not there is damage."""
        if part not in self._parts:
            raise is_damaged(self._name, "a part of the workbook is missing")
        self._left = parse_xml(self._pieces(part), reader, left=self._left, name=self._name)

    def _pieces(self, part: str) -> Iterator[bytes]:
        try:
            with self._archive.open(self._parts[part]) as file:
                while piece := file.read(_PIECE):
                    yield piece
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError):
            raise is_damaged(self._name) from None
        except (RuntimeError, NotImplementedError):
            raise _old_or_locked(self._name) from None


class _Elements:
    """Hands elements on within bounds: no declared entities, no deep nesting, not too many."""

    def __init__(self, reader: PartReader, *, left: int, name: str) -> None:
        self._reader, self._name = reader, name
        self._depth, self.left = 0, left
        self._locals = _LocalNames()

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        self.left -= 1
        if self._depth > _MAX_DEPTH:
            raise is_damaged(self._name, "the XML is nested too deep")
        if self.left < 0:
            raise is_damaged(self._name, "the XML has far more elements than a file of this size")
        self._reader.start(self._locals[tag], attributes)

    def end(self, tag: str) -> None:
        self._depth -= 1
        self._reader.end(self._locals[tag])

    def doctype(self, *_: object) -> None:
        raise _declares_entities(self._name)


def parse_xml(pieces: Iterator[bytes], reader: PartReader, *, left: int, name: str) -> int:
    """Parse a part.

    Args:     left: elements that it may have.
    Returns:  how many of them are left.
    """
    parser, elements = expat.ParserCreate(), _Elements(reader, left=left, name=name)
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = elements.start, elements.end
    parser.CharacterDataHandler = reader.text
    parser.StartDoctypeDeclHandler = elements.doctype
    since_tag = 0
    try:
        for piece in pieces:
            last = piece.rfind(b">")
            since_tag = since_tag + len(piece) if last < 0 else len(piece) - last
            if since_tag > _MAX_TOKEN:
                raise is_damaged(name, "a tag or a text of the workbook does not end")
            parser.Parse(piece, False)
        parser.Parse(b"", True)
    except (expat.ExpatError, ValueError, LookupError):
        raise is_damaged(name) from None
    return elements.left


class _LocalNames(dict[str, str]):
    def __missing__(self, tag: str) -> str:
        local = tag.rpartition(":")[2]
        if len(self) < _MAX_PARTS:
            self[tag] = local
        return local


def relation_target(part: str, target: str) -> str:
    """Name of the part that a relation of `part` points to.

    Example: "xl/workbook.xml", "worksheets/sheet1.xml" → "xl/worksheets/sheet1.xml"
    """
    if target.startswith("/"):
        return posixpath.normpath(target).lstrip("/")
    return posixpath.normpath(posixpath.join(posixpath.dirname(part), target))


def relations_of(part: str) -> str:
    """Example: "xl/workbook.xml" → "xl/_rels/workbook.xml.rels" """
    folder, base = posixpath.split(part)
    return posixpath.join(folder, "_rels", f"{base}.rels")


def no_workbook(name: str) -> SourceFileError:
    return SourceFileError(
        "this is no XLSX workbook",
        where=name,
        expected="a workbook as XLSX (Office Open XML)",
        todo="Save it as XLSX, or mend `format` in the profile",
        code="INT-024",
    )


def _old_or_locked(name: str) -> SourceFileError:
    return SourceFileError(
        "the workbook is of the old kind (XLS) or locked by a password",
        where=name,
        expected="a workbook as XLSX without password",
        todo="Save it as XLSX without password",
        code="INT-026",
    )


def _declares_entities(name: str) -> SourceFileError:
    return SourceFileError(
        "the XML of the workbook declares entities",
        where=name,
        expected="XML without declarations, as workbooks are",
        todo="Ask who made it; a spreadsheet program does not write such files",
        code="INT-028",
    )
