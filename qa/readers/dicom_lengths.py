"""Whether a DICOM file is whole: the lengths that it states lead exactly to its end.

The general reader of DICOM takes a file that is cut off for one that ends there, and would give
half an exam without a word.

Format: DICOM PS3.5 section 7 (data elements, sequences), PS3.10 section 7 (meta elements).
"""

import struct

from qa.model.errors import SourceFileError
from qa.readers.bounds import is_damaged

IMPLICIT, BIG_ENDIAN, DEFLATED = (
    "1.2.840.10008.1.2",
    "1.2.840.10008.1.2.2",
    "1.2.840.10008.1.2.1.99",
)
_META_AT = 132
_META_GROUP, _TRANSFER_SYNTAX = 0x0002, 0x0010
_LONG = frozenset(b"OB OD OF OL OV OW SQ SV UC UN UR UT UV".split())
_UNDEFINED = 0xFFFFFFFF
_ITEM_GROUP, _ITEM, _ITEM_END, _SEQUENCE_END = 0xFFFE, 0xE000, 0xE00D, 0xE0DD
_MAX_DEPTH = 64


def check_whole(content: bytes, *, name: str) -> None:
    """Refuse a file that is cut off or packed.

    Raises: SourceFileError INT-025 (cut off, or lengths that lie), INT-034 (packed).
    """
    try:
        syntax, start = _read_meta(content)
        if syntax == DEFLATED:
            raise SourceFileError(
                "the file is packed (deflated transfer syntax)",
                where=name,
                expected="a DICOM file without compression",
                todo="Export it again without compression",
                code="INT-034",
            )
        walk = _Walk(content, start, syntax)
        walk.elements(len(content), depth=0)
    except (struct.error, ValueError):
        raise is_damaged(name) from None


def _read_meta(content: bytes) -> tuple[str, int]:
    """Transfer syntax, and where the meta elements end; they are always explicit little endian."""
    walk, syntax = _Walk(content, _META_AT, ""), ""
    while walk.at < len(content):
        before = walk.at
        group, element, length = walk.head()
        if group != _META_GROUP:
            return syntax, before
        if element == _TRANSFER_SYNTAX:
            syntax = content[walk.at : walk.at + length].rstrip(b"\0 ").decode("ascii")
        walk.skip(length)
    return syntax, walk.at


class _Walk:
    """Goes from element to element without looking into them."""

    def __init__(self, data: bytes, at: int, syntax: str) -> None:
        self._data, self.at = data, at
        self._order = ">" if syntax == BIG_ENDIAN else "<"
        self._is_implicit = syntax == IMPLICIT

    def elements(self, end: int, *, depth: int, is_open: bool = False) -> None:
        """Up to `end`, or to the end mark of an item whose length is not stated (is_open)."""
        while self.at < end:
            group, element, length = self.head()
            if group == _ITEM_GROUP:
                if not (is_open and element == _ITEM_END):
                    raise ValueError("an item outside a sequence")
                return
            if length == _UNDEFINED:
                self._items(depth=depth + 1)
            else:
                self.skip(length)
        if is_open:
            raise ValueError("an item does not end")

    def _items(self, *, depth: int) -> None:
        if depth > _MAX_DEPTH:
            raise ValueError("nested too deep")
        while True:
            group, element, length = self.head()
            if group == _ITEM_GROUP and element == _SEQUENCE_END:
                return
            if group != _ITEM_GROUP or element != _ITEM:
                raise ValueError("a sequence of something else than items")
            if length == _UNDEFINED:
                self.elements(len(self._data), depth=depth, is_open=True)
            else:
                self.skip(length)

    def head(self) -> tuple[int, int, int]:
        """Group, element and length of the value; `at` is then at the value."""
        group, element = struct.unpack_from(f"{self._order}HH", self._data, self.at)
        kind = self._data[self.at + 4 : self.at + 6]
        if group == _ITEM_GROUP or self._is_implicit:
            width, form = 8, "I"
        elif kind in _LONG:
            width, form = 12, "I"
        else:
            width, form = 8, "H"
        at = self.at + width - struct.calcsize(form)
        (length,) = struct.unpack_from(self._order + form, self._data, at)
        self.at += width
        return group, element, length

    def skip(self, length: int) -> None:
        self.at += length
        if self.at > len(self._data):
            raise ValueError("a length leads beyond the end")
