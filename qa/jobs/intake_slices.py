"""Rows of many files as a few frames: files of the same columns together, long ones in slices."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby

import polars as pl

from qa.intake.mapping import mapped_columns, pick_columns, plain_heading
from qa.model.definitions import Profile
from qa.model.file_problems import ROW_NO

SLICE_ROWS = 122_880
"""A row group of the warehouse: DuckDB compresses and writes a whole one at once, and keeps smaller
pieces in memory until they are committed."""
_IDENTITY = ("exam_id", "site")


@dataclass(frozen=True)
class Taken:
    """What take_columns left of a file: n_rows rows from start on of a table, which other files may
    share; n_bytes: of the file."""

    table: pl.DataFrame
    start: int
    n_rows: int
    n_dropped_columns: int
    n_bytes: int


@dataclass(frozen=True)
class RawFile:
    """A file that could be read, and what `files` will say of it.

    first_seq: its place among all files, where it was seen before.
    known_at: when it is read, UTC.
    read_by: who has it read.
    """

    file_id: str
    name: str
    site_id: str | None
    first_seq: int | None
    intake_fingerprint: str
    known_at: datetime
    taken: Taken
    read_by: str | None = None

    @property
    def n_rows(self) -> int:
        return self.taken.n_rows


def take_columns(raw: pl.DataFrame, *, profile: Profile) -> pl.DataFrame:
    """What a batch needs of a file: its mapped columns, or its exams already picked where several
    rows make one exam, as rows of two files must never meet in one."""
    if joins_rows(profile):
        return pick_columns(raw, profile=profile)
    wanted = {ROW_NO, *_headings(profile, None)}
    if profile.measurements is not None:
        return raw
    return raw.select(name for name in raw.columns if name in wanted)


def joins_rows(profile: Profile) -> bool:
    """Several rows make one exam."""
    return profile.measurements is not None and profile.measurements.layout != "columns"


def _headings(profile: Profile, targets: Sequence[str] | None) -> list[str]:
    return [
        plain_heading(heading)
        for column in mapped_columns(profile)
        if targets is None or column.target in targets
        for heading in column.headings
    ]


def identity_columns(files: Sequence[RawFile], *, profile: Profile) -> pl.DataFrame:
    """file_no, site_word and exam_id_word of every row, in order."""
    kept = ("file_no", "site_word", "exam_id_word")
    parts = []
    for rows in _joined(files, range(len(files))):
        if joins_rows(profile):
            parts.append(_with_words(rows).select(kept))
            continue
        wanted = {ROW_NO, *_headings(profile, _IDENTITY)}
        few = rows.select(name for name in rows.columns if name in wanted)
        picked = pick_columns(few, profile=replace(profile, measurements=None))
        parts.append(_with_words(picked.with_columns(rows["file_no"])).select(kept))
    return pl.concat(parts)


def _with_words(picked: pl.DataFrame) -> pl.DataFrame:
    """A profile need not map the site."""
    missing = [f"{name}_word" for name in _IDENTITY if f"{name}_word" not in picked.columns]
    return picked.with_columns(pl.lit(None, pl.String).alias(name) for name in missing)


def slices_of(
    files: Sequence[RawFile], run: range, keys: pl.DataFrame, *, profile: Profile
) -> Iterator[pl.DataFrame]:
    """Picked rows of a run of files, in slices; rows of one exam are never parted.

    Args:   keys: find_exam_keys of the run's rows.
    Yields: the columns of pick_columns, file_no, exam_key and is_doubled; at least one frame.
    """
    place = 0
    for rows in _joined(files, run):
        of_rows = keys.slice(place, rows.height)
        place += rows.height
        keyed = rows.with_columns(of_rows["exam_key"], of_rows["is_doubled"])
        doubled = keyed.filter(of_rows["is_doubled"])
        if doubled.height:
            keyed = keyed.filter(~of_rows["is_doubled"])
            yield _picked(doubled, profile)
        for part in keyed.iter_slices(SLICE_ROWS):
            yield _picked(part, profile)


def _picked(rows: pl.DataFrame, profile: Profile) -> pl.DataFrame:
    if joins_rows(profile):
        return rows
    picked = pick_columns(rows, profile=profile)
    return picked.with_columns(rows["file_no"], rows["exam_key"], rows["is_doubled"])


def _joined(files: Sequence[RawFile], run: range) -> Iterator[pl.DataFrame]:
    """Files next to each other that have the same columns, as one frame with file_no."""
    for _, group in groupby(run, key=lambda number: files[number].taken.table.columns):
        numbers = list(group)
        rows = pl.concat(_pieces([files[number].taken for number in numbers]), rechunk=False)
        counts = pl.Series([files[number].n_rows for number in numbers])
        file_nos = pl.Series("file_no", numbers, dtype=pl.UInt32).repeat_by(counts).explode()
        # A file without rows gives a null in place of none.
        yield rows.with_columns(file_nos.drop_nulls())


def _pieces(parts: Sequence[Taken]) -> list[pl.DataFrame]:
    """The parts' rows in order; parts that follow one another in a table are one piece."""
    pieces: list[tuple[pl.DataFrame, int, int]] = []
    for part in parts:
        table, start, end = pieces[-1] if pieces else (None, 0, 0)
        if table is part.table and end == part.start:
            pieces[-1] = (part.table, start, end + part.n_rows)
        else:
            pieces.append((part.table, part.start, part.start + part.n_rows))
    return [table[start:end] for table, start, end in pieces]
