"""Rows that are sent → files, each in its site's shape."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import polars as pl

from demo_sites.columns import as_sent
from demo_sites.names import family_names, given_names
from demo_sites.patients import Columns
from demo_sites.shape import Shape
from demo_sites.shapes import shape_by_id
from demo_sites.write_dicom import dicom_bytes
from demo_sites.write_fhir import fhir_bytes
from demo_sites.write_table import lines_bytes, parquet_bytes, text_bytes, workbook_bytes
from qa.model.words import FileFormat

_TABLES = {
    FileFormat.CSV: text_bytes,
    FileFormat.XLSX: workbook_bytes,
    FileFormat.JSONL: lines_bytes,
    FileFormat.PARQUET: parquet_bytes,
}
FileFacts = dict[str, str | int]


def write_exports(
    folder: Path,
    sendings: pl.DataFrame,
    patients: Columns,
    *,
    copies: dict[str, str],
    rng: np.random.Generator,
) -> list[FileFacts]:
    """Write all files that were sent.

    Args:     sendings, copies: from sendings.send.
    Returns:  one entry per file: file, sha256, n_exams, format, shape; same_as for a file that
              repeats another.
    """
    n = len(patients["site"])
    people = pl.DataFrame(
        {
            "given_name": given_names(rng, n),
            "family_name": family_names(rng, n),
            "birth_day": patients["birth_day"],
        }
    )
    written: list[FileFacts] = []
    for rows in sendings.partition_by("site_id", "shape", maintain_order=True):
        shape = shape_by_id(rows["shape"][0])
        rows = pl.concat([rows, people[rows["patient"].to_numpy()]], how="horizontal")
        for file, n_exams, content in _contents(rows, shape):
            written.append(_write(folder, file, content, n_exams=n_exams, shape=shape))
    facts = {str(one["file"]): one for one in written}
    for copy, original in copies.items():
        content = (folder / original).read_bytes()
        (folder / copy).write_bytes(content)
        written.append(facts[original] | {"file": copy, "same_as": original})
    return written


def _write(folder: Path, file: str, content: bytes, *, n_exams: int, shape: Shape) -> FileFacts:
    path = folder / file
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return {
        "file": file,
        "sha256": hashlib.sha256(content).hexdigest(),
        "n_exams": n_exams,
        "format": str(shape.format),
        "shape": shape.id,
    }


def _contents(rows: pl.DataFrame, shape: Shape) -> Iterator[tuple[str, int, bytes]]:
    """Name, number of exams and bytes of each file."""
    n_exams = dict(rows["file"].value_counts().iter_rows())
    if shape.format in _TABLES:
        for part in as_sent(rows, shape).partition_by("file", maintain_order=True):
            file = part["file"][0]
            yield file, n_exams[file], _TABLES[shape.format](part.drop("file"), shape)
        return
    born = pl.col("birth_day").cast(pl.Int32).cast(pl.Date).alias("born_on")
    people = rows.select("file", "family_name", "given_name", born)
    both = zip(
        as_sent(rows, shape).partition_by("file", maintain_order=True),
        people.partition_by("file", maintain_order=True),
        strict=True,
    )
    for part, persons in both:
        file = part["file"][0]
        if shape.format == FileFormat.FHIR:
            lines = file.endswith(".ndjson")
            content = fhir_bytes(part, persons, shape, is_lines=lines)
        else:
            content = dicom_bytes(part.row(0, named=True), persons.row(0, named=True), shape)
        yield file, n_exams[file], content
