"""Walks the page headers of a Parquet column: how far a page says that it unpacks.

A reader of Parquet takes as much memory as a page header asks for, so the headers are read first.
Format: Apache Parquet, parquet.thrift (PageHeader), in the Thrift compact protocol.
"""

from dataclasses import dataclass
from typing import Any

from qa.model.errors import SourceFileError
from qa.readers.bounds import is_damaged

_STOP, _TRUE, _FALSE, _BYTE, _I16, _I32, _I64, _DOUBLE, _BINARY = range(9)
_LIST, _SET, _MAP, _STRUCT, _UUID = 9, 10, 11, 12, 13
_MAX_DEPTH = 8
_DELTA_TEXT = 7
_UNPACKED_SIZE, _PACKED_SIZE = (2,), (3,)
_ENCODINGS = ((5, 2), (7, 2), (8, 4))
"""Paths of PageHeader: sizes, and the encoding of a data page, dictionary page, data page v2."""


class _NoHeader(ValueError):
    pass


@dataclass
class _Compact:
    """One struct of the Thrift compact protocol; numbers are kept by the path of their field."""

    data: bytes
    at: int
    numbers: dict[tuple[int, ...], int]

    def struct(self, path: tuple[int, ...]) -> None:
        if len(path) > _MAX_DEPTH:
            raise _NoHeader
        field = 0
        while kind_byte := self._byte():
            delta, kind = kind_byte >> 4, kind_byte & 15
            field = field + delta if delta else self._zigzag()
            self._value(kind, (*path, field))

    def _value(self, kind: int, path: tuple[int, ...]) -> None:
        if kind in (_TRUE, _FALSE):
            return
        if kind in (_I16, _I32, _I64):
            self.numbers[path] = self._zigzag()
        elif kind == _BINARY:
            self._skip(self._varint())
        elif kind in (_BYTE, _DOUBLE, _UUID):
            self._skip({_BYTE: 1, _DOUBLE: 8, _UUID: 16}[kind])
        elif kind == _STRUCT:
            self.struct(path)
        else:  # A page header of the format holds no list, set or map.
            raise _NoHeader

    def _byte(self) -> int:
        if not 0 <= self.at < len(self.data):
            raise _NoHeader
        self.at += 1
        return self.data[self.at - 1]

    def _skip(self, n_bytes: int) -> None:
        self.at += n_bytes
        if self.at > len(self.data):
            raise _NoHeader

    def _varint(self) -> int:
        result = 0
        for shift in range(0, 70, 7):
            byte = self._byte()
            result |= (byte & 127) << shift
            if byte < 128:
                return result
        raise _NoHeader

    def _zigzag(self) -> int:
        number = self._varint()
        return (number >> 1) ^ -(number & 1)


def largest_page(content: bytes, chunk: Any, *, name: str) -> int:
    """Bytes that the largest page of a column chunk says that it unpacks to.

    Args:     content: the whole file.   chunk: pyarrow's ColumnChunkMetaData.
    Raises:   SourceFileError INT-025 (no page header where one should be), INT-029 (text in the
              delta encoding, which says nothing of how much it unpacks to).
    """
    starts = [chunk.data_page_offset, chunk.dictionary_page_offset or chunk.data_page_offset]
    at = min(start for start in starts if start > 0) if max(starts) > 0 else 0
    end = at + chunk.total_compressed_size
    if not 4 <= at <= end <= len(content):
        raise is_damaged(name)
    largest = 0
    while at < end:
        header = _Compact(content, at, {})
        try:
            header.struct(())
        except _NoHeader:
            raise is_damaged(name) from None
        unpacked = header.numbers.get(_UNPACKED_SIZE, -1)
        packed = header.numbers.get(_PACKED_SIZE, -1)
        if unpacked < 0 or packed < 0:
            raise is_damaged(name)
        if any(header.numbers.get(path) == _DELTA_TEXT for path in _ENCODINGS):
            raise _no_delta_text(name)
        largest = max(largest, unpacked)
        at = header.at + packed
    return largest


def _no_delta_text(name: str) -> SourceFileError:
    return SourceFileError(
        "a column is in the encoding DELTA_BYTE_ARRAY",
        where=name,
        expected="text as plain or dictionary encoding",
        todo="Export it again with one of these encodings",
        code="INT-029",
    )
