"""Invented identities, the forms in which they could come out, and a search through all outputs."""

import base64
import io
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

import duckdb
import polars as pl
from pypdf import PdfReader

NAMES = ("Quillfeather", "Ottoline", "Zebulon", "Featherquill")
NUMBERS = ("90210071", "90210075", "90210088", "EX7734501", "EX7734502")
BIRTH_DATES = ("1961-07-19", "19.07.1961", "19610719", "19/07/1961", "2011-04-23", "23.04.2011")
PLANTED = (*NAMES, *NUMBERS, *BIRTH_DATES)


def forms_of(text: str) -> dict[str, bytes]:
    """Name of a form → the bytes to look for."""
    forms = {
        "plain": text.encode(),
        "upper": text.upper().encode(),
        "lower": text.lower().encode(),
        "UTF-16 little": text.encode("utf-16-le"),
        "UTF-16 big": text.encode("utf-16-be"),
        "hexadecimal": text.encode().hex().encode(),
        "backwards": text[::-1].encode(),
    }
    forms |= {f"Base64 at {n}": _base64_at(text.encode(), n) for n in range(3)}
    return forms


def _base64_at(content: bytes, place: int) -> bytes:
    """What stands in the Base64 of any text that holds the content at this place modulo 3."""
    whole = base64.b64encode(b"\0" * place + content)
    first = -(-place * 8 // 6)
    last = (place + len(content)) * 8 // 6
    return whole[first:last]


def found_in(content: bytes, planted: tuple[str, ...] = PLANTED) -> list[str]:
    """Every planted identity that stands in the content, with its form."""
    return [
        f"{text} ({form})"
        for text in planted
        for form, wanted in forms_of(text).items()
        if wanted in content
    ]


def leaks_of(
    folder: Path, *, but: tuple[str, ...], planted: tuple[str, ...] = PLANTED
) -> list[str]:
    """Every planted identity in any file below the folder, also inside containers.

    Args: but: names of top folders and files that are not outputs.
    """
    leaks = []
    for path in sorted(one for one in folder.rglob("*") if one.is_file()):
        inner = path.relative_to(folder)
        leaks += [f"the name {inner}: {one}" for one in found_in(str(inner).encode(), planted)]
        if inner.parts[0] in but:
            continue
        for part, content in parts_of(path):
            leaks += [f"{inner}{part}: {one}" for one in found_in(content, planted)]
    return leaks


def parts_of(path: Path) -> Iterator[tuple[str, bytes]]:
    """A file's bytes, and what its container holds once it is opened."""
    content = path.read_bytes()
    yield "", content
    if path.suffix == ".duckdb":
        with duckdb.connect(str(path), read_only=True) as con:
            for (table,) in con.sql("SELECT table_name FROM duckdb_tables()").fetchall():
                yield f", table {table}", str(con.sql(f"FROM {table}").fetchall()).encode()
    elif path.suffix == ".parquet":
        yield ", rows", str(pl.read_parquet(path).rows()).encode()
    elif path.suffix == ".pdf":
        reader = PdfReader(io.BytesIO(content))
        yield ", text", "\n".join(page.extract_text() for page in reader.pages).encode()
        yield ", facts", str(reader.metadata).encode()
    elif path.suffix == ".xlsx":
        with zipfile.ZipFile(path) as book:
            for name in book.namelist():
                yield f", {name}", book.read(name)
    elif path.suffix == ".gz":
        yield ", unpacked", zlib.decompress(content, 47)
