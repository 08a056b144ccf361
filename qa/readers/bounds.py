"""How much a file may ask for: checked before memory is taken, so that a hostile file stays cheap.

The limits lie far above what a clinic sends (a month of a large clinic has some thousand exams) and
within what one machine bears. Messages name the file, the place and the limit, never a value.
"""

import zlib

from qa.model.errors import SourceFileError

MIB = 1024 * 1024

MAX_FILE_BYTES: dict[str, int] = {
    "csv": 256 * MIB,
    "xlsx": 64 * MIB,
    "parquet": 128 * MIB,
    "jsonl": 256 * MIB,
    "fhir": 64 * MIB,
    "dicom": 4 * MIB,
}
"""By format of the profile; also the limit of what a compressed text unpacks to."""

MAX_LINE_BYTES = MIB
MAX_ROWS = 3_000_000
MAX_COLUMNS = 1_000
MAX_CELLS = 90_000_000
MAX_CHARACTERS = 256 * MIB

SPARSE_BASE_CELLS = 5_000_000
SPARSE_RATIO = 20
"""A table may have this many cells, and this many more for each cell that holds something."""

UNPACK_BASE_BYTES = 8 * MIB
UNPACK_RATIO = 50
"""Tables compress about 10 to 30 times; what unpacks further is made to fill memory."""

_BASE_VALUES, _BYTES_A_VALUE = 200_000, 8
"""A JSON document may have this many values, and one more for each 8 bytes."""

_GZIP = b"\x1f\x8b"
_GZIP_WINDOW = 31
_PIECE = 256 * 1024
_START = 4096


def refuse_empty(content: bytes, *, name: str) -> None:
    """Raises: SourceFileError INT-001 for a file of nothing but blanks."""
    if not content[:_START].strip() and not content.strip():
        raise SourceFileError(
            "the file is empty", where=name, todo="Export it again", code="INT-001"
        )


def check_size(n_bytes: int, *, name: str, file_format: str = "") -> None:
    """Refuse a file that is too large; callable before the file is read.

    Args:     file_format: "" where it is not known yet: the largest limit counts.

    Raises: SourceFileError INT-020.
    """
    limit = MAX_FILE_BYTES.get(file_format, max(MAX_FILE_BYTES.values()))
    if n_bytes > limit:
        raise SourceFileError(
            f"the file has {n_bytes:,} bytes",
            where=name,
            expected=f"at most {limit:,} bytes in one file",
            todo="Split the export, for example by month",
            code="INT-020",
        )


def unpack_limit(n_packed: int, *, file_format: str) -> int:
    """Bytes that n_packed bytes may unpack to.

    Example: 10,000 bytes of csv → 8,888,608
    """
    return min(MAX_FILE_BYTES[file_format], UNPACK_BASE_BYTES + UNPACK_RATIO * n_packed)


def character_limit(n_bytes: int) -> int:
    """Characters that a table may hold that comes from a file of n_bytes."""
    return min(MAX_CHARACTERS, UNPACK_BASE_BYTES + UNPACK_RATIO * n_bytes)


def too_long_a_text(limit: int, *, where: str) -> SourceFileError:
    """Error INT-023 for the characters of all cells together."""
    return SourceFileError(
        "the cells hold far more text than the file has bytes",
        where=where,
        expected=f"at most {limit:,} characters in a file of this size",
        todo="Split the export, or export only the columns that the profile maps",
        code="INT-023",
    )


def check_characters(n_characters: int, *, n_bytes: int, where: str) -> None:
    """Refuse a table whose text is far longer than its file: one text that repeats without end.

    Raises: SourceFileError INT-023.
    """
    limit = character_limit(n_bytes)
    if n_characters > limit:
        raise too_long_a_text(limit, where=where)


def unpacks_too_far(name: str, limit: int) -> SourceFileError:
    return SourceFileError(
        f"the file unpacks to more than {limit:,} bytes",
        where=name,
        expected=f"at most {UNPACK_RATIO} times its own size",
        todo="Export again; if the file is right, send it without compression",
        code="INT-021",
    )


def is_damaged(name: str, what: str = "the file is damaged or cut off") -> SourceFileError:
    return SourceFileError(what, where=name, todo="Export and send it again", code="INT-025")


def is_gzip(content: bytes) -> bool:
    return content.startswith(_GZIP)


def unpack_gzip(content: bytes, *, name: str, file_format: str) -> bytes:
    """The text inside a gzip file; anything else comes back as it is.

    Raises: SourceFileError INT-021 (too much), INT-025 (damaged, cut off or with a tail).
    """
    if not is_gzip(content):
        return content
    limit = unpack_limit(len(content), file_format=file_format)
    pieces: list[bytes] = []
    n_bytes, rest = 0, content
    while rest:
        unpacker = zlib.decompressobj(_GZIP_WINDOW)
        while not unpacker.eof:
            try:
                piece = unpacker.decompress(rest, _PIECE)
            except zlib.error:
                raise is_damaged(name) from None
            rest = unpacker.unconsumed_tail
            if not piece and not rest and not unpacker.eof:
                raise is_damaged(name)
            n_bytes += len(piece)
            if n_bytes > limit:
                raise unpacks_too_far(name, limit)
            pieces.append(piece)
        rest = unpacker.unused_data.lstrip(b"\0")
    return b"".join(pieces)


def check_lines(content: bytes, *, name: str) -> None:
    """Refuse a text with a line over MAX_LINE_BYTES; looks only near every millionth byte.

    Raises: SourceFileError INT-022.
    """
    start = 0
    while len(content) - start > MAX_LINE_BYTES:
        end = start + MAX_LINE_BYTES
        line_end = max(content.rfind(b"\n", start, end), content.rfind(b"\r", start, end))
        if line_end < 0:
            raise SourceFileError(
                f"a line is longer than {MAX_LINE_BYTES:,} bytes",
                where=f"{name}, at byte {start:,}",
                expected="one exam a line",
                todo="Export again; a quotation mark may be missing",
                code="INT-022",
            )
        start = line_end + 1


def check_values(content: bytes, *, name: str) -> None:
    """Refuse a JSON document of nearly nothing but brackets: parsed it takes 30 times its size.

    Raises: SourceFileError INT-023.
    """
    n_values = sum(content.count(mark) for mark in (b"{", b"[", b","))
    limit = _BASE_VALUES + len(content) // _BYTES_A_VALUE
    if n_values > limit:
        raise too_many("values", n_values, limit, where=name)


def too_many(kind: str, n_found: int, limit: int, *, where: str) -> SourceFileError:
    """Error INT-023 for rows, columns, cells or characters over their limit."""
    return SourceFileError(
        f"{n_found:,} {kind}",
        where=where,
        expected=f"at most {limit:,} {kind}",
        todo="Split the export, or export only the columns that the profile maps",
        code="INT-023",
    )


def check_table(n_rows: int, n_columns: int, *, where: str, n_cells: int | None = None) -> None:
    """Refuse a table that is too large; n_cells where it is known to be no full rectangle.

    Raises: SourceFileError INT-023.
    """
    for kind, n_found, limit in (
        ("columns", n_columns, MAX_COLUMNS),
        ("rows", n_rows, MAX_ROWS),
        ("cells", n_rows * n_columns if n_cells is None else n_cells, MAX_CELLS),
    ):
        if n_found > limit:
            raise too_many(kind, n_found, limit, where=where)
