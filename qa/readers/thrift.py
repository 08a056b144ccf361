"""The Thrift compact protocol, as far as Parquet's footers and page headers use it.

Format: Apache Thrift, thrift-compact-protocol. Nothing is kept that the bytes do not hold, so a
structure never grows beyond a small multiple of its bytes.
"""

from typing import Any

_TRUE, _FALSE, _BYTE, _I16, _I32, _I64, _DOUBLE, _BINARY = range(1, 9)
_LIST, _SET, _STRUCT, _UUID = 9, 10, 12, 13
_MAX_DEPTH = 12
_LONG_LIST = 15


class NoThrift(ValueError):
    """The bytes are no structure of the compact protocol."""


class Compact:
    """Reads from `at` on; after struct() `at` is behind the structure."""

    def __init__(self, data: bytes, at: int) -> None:
        self.data, self.at = data, at

    def struct(self, depth: int = 0) -> dict[int, Any]:
        """Fields by their number: int, bytes, bool, list or a nested structure.

        Raises: NoThrift.
        """
        if depth > _MAX_DEPTH:
            raise NoThrift
        fields: dict[int, Any] = {}
        number = 0
        while head := self._byte():
            delta, kind = head >> 4, head & 15
            number = number + delta if delta else self._signed()
            fields[number] = kind == _TRUE if kind <= _FALSE else self._value(kind, depth)
        return fields

    def _value(self, kind: int, depth: int) -> Any:
        if kind in (_I16, _I32, _I64):
            return self._signed()
        if kind == _BINARY:
            return self._bytes(self._unsigned())
        if kind == _STRUCT:
            return self.struct(depth + 1)
        if kind in (_LIST, _SET):
            return self._list(depth + 1)
        if kind in (_TRUE, _FALSE, _BYTE):
            return self._byte()
        if kind in (_DOUBLE, _UUID):
            return self._bytes(8 if kind == _DOUBLE else 16)
        raise NoThrift  # Parquet has no maps.

    def _list(self, depth: int) -> list[Any]:
        head = self._byte()
        size, kind = head >> 4, head & 15
        size = self._unsigned() if size == _LONG_LIST else size
        if depth > _MAX_DEPTH or size > len(self.data) - self.at:
            raise NoThrift
        return [self._value(kind, depth) for _ in range(size)]

    def _byte(self) -> int:
        if not 0 <= self.at < len(self.data):
            raise NoThrift
        self.at += 1
        return self.data[self.at - 1]

    def _bytes(self, n_bytes: int) -> bytes:
        start = self.at
        self.at += n_bytes
        if self.at > len(self.data):
            raise NoThrift
        return self.data[start : self.at]

    def _unsigned(self) -> int:
        result = 0
        for shift in range(0, 70, 7):
            byte = self._byte()
            result |= (byte & 127) << shift
            if byte < 128:
                return result
        raise NoThrift

    def _signed(self) -> int:
        number = self._unsigned()
        return (number >> 1) ^ -(number & 1)
