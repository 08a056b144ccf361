"""A batch of files of one profile: mapped and judged together, written file by file."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from qa.intake.apply import Checked, apply_checks
from qa.intake.checks import ROW_CHECKS, VERSION_CHECKS
from qa.intake.pseudonym import is_hidden
from qa.intake.registers import Registers
from qa.intake.rows import map_rows
from qa.intake.rows_read import count_rows_read
from qa.intake.versions import decide_versions, join_known
from qa.model.definitions import Profile
from qa.model.schemas import EXAMS, UTC_TIME
from qa.stores.forgetting import forgotten_hashes
from qa.stores.warehouse import Warehouse

_KEPT = ["file_no", "file_first_seq", *(name for name in EXAMS.names if name != "version_no")]


@dataclass(frozen=True)
class PickedFile:
    """A file that could be read: its picked columns and what `files` will say of it.

    first_seq: its place among all files, where it was seen before.
    known_at: when it is read, UTC.
    read_by: who has it read.
    """

    file_id: str
    name: str
    site_id: str | None
    first_seq: int | None
    n_dropped_columns: int
    intake_fingerprint: str
    known_at: datetime
    picked: pl.DataFrame
    read_by: str | None = None


@dataclass(frozen=True)
class Written:
    """What became of a file's rows.

    codes: each code once for each quarantined row that has it.
    n_forgotten: rows of persons whose rows were removed on request; they are left out.
    """

    n_accepted: int
    n_unchanged: int
    n_quarantined: int
    codes: list[str]
    n_forgotten: int = 0


def write_batch(
    warehouse: Warehouse,
    files: Sequence[PickedFile],
    *,
    profile: Profile,
    registers: Registers,
    key: bytes,
) -> Iterator[Written]:
    """Map, judge and write files of one profile, in their order; each is one transaction.

    Yields: what became of each file, once it is written.
    """
    rows = map_rows(_joined(files, profile), profile=profile, registers=registers, key=key)
    if hidden := forgotten_hashes(warehouse):
        rows = rows.filter(~is_hidden(rows["patient_key"], hidden=hidden, key=key))
    checked = apply_checks(rows, checks=ROW_CHECKS, profile=profile)
    months = rows.select("file_no", "row_no", "site_id", "exam_on", "known_at")
    for numbers in _independent(checked.accepted, len(files)):
        yield from _write(warehouse, files, numbers, checked, profile=profile, months=months)


def _joined(files: Sequence[PickedFile], profile: Profile) -> pl.DataFrame:
    """All rows, each with its file's number, site, provenance and place among all files."""
    facts = pl.DataFrame(
        [
            (number, file.site_id, file.first_seq, file.file_id, profile.full_id, file.known_at)
            for number, file in enumerate(files)
        ],
        schema={
            "file_no": pl.UInt32,
            "site_of_file": pl.String,
            "file_first_seq": pl.Int64,
            "file_id": pl.String,
            "profile_id": pl.String,
            "known_at": UTC_TIME,
        },
        orient="row",
    )
    numbers = pl.Series("file_no", range(len(files)), dtype=pl.UInt32)
    counts = pl.Series([file.picked.height for file in files])
    rows = pl.concat([file.picked for file in files])
    rows = rows.with_columns(file_no=numbers.repeat_by(counts).explode())
    return rows.join(facts, on="file_no", how="left", maintain_order="left")


def _independent(accepted: pl.DataFrame, n_files: int) -> list[range]:
    """Runs of files that share no exam, so that each run is compared with the warehouse at once."""
    if accepted["exam_key"].n_unique() == accepted.height:
        return [range(n_files)]
    return [range(number, number + 1) for number in range(n_files)]


def _write(
    warehouse: Warehouse,
    files: Sequence[PickedFile],
    numbers: range,
    checked: Checked,
    *,
    profile: Profile,
    months: pl.DataFrame,
) -> Iterator[Written]:
    """Compare files that share no exam with the warehouse, and write each."""
    is_here = pl.col("file_no").is_between(numbers.start, numbers.stop - 1)
    accepted = checked.accepted.filter(is_here).select(_KEPT)
    latest = warehouse.latest_versions(accepted["exam_key"])
    decided = decide_versions(join_known(accepted, latest))
    judged = apply_checks(decided.entering, checks=VERSION_CHECKS, profile=profile)
    waiting = pl.concat([checked.quarantined.filter(is_here), judged.quarantined])
    for number, exams, unchanged, held, counts, seen in zip(
        numbers,
        _by_file(judged.accepted, numbers),
        _by_file(decided.unchanged, numbers),
        _by_file(waiting.sort("file_no", "row_no"), numbers),
        _by_file(_rows_read(files, months.filter(is_here), waiting), numbers),
        _by_file(_sightings(decided.unchanged, latest), numbers),
        strict=True,
    ):
        codes = held["codes"].list.unique().explode().drop_nulls().to_list()
        n_left_out = files[number].picked.height - exams.height - unchanged.height - held.height
        counted = Written(exams.height, unchanged.height, held.height, codes, n_left_out)
        warehouse.append_file(
            _file_row(files[number], counted, profile),
            exams,
            held,
            rows_read=counts,
            sightings=seen,
        )
        yield counted


def _sightings(unchanged: pl.DataFrame, latest: pl.DataFrame) -> pl.DataFrame:
    """SIGHTINGS, with file_no: rows that another file than the version's own holds as well, so
    that the exam stays in when that file is withdrawn."""
    standing = latest.select(
        "exam_key", "row_hash", version_no="standing_version_no", standing_file_id="file_id"
    )
    return (
        unchanged.select("exam_key", "row_hash", "file_no", "file_id", "row_no", "known_at")
        .join(standing, on=["exam_key", "row_hash"], maintain_order="left")
        .filter(pl.col("file_id") != pl.col("standing_file_id"))
    )


def _rows_read(
    files: Sequence[PickedFile], months: pl.DataFrame, waiting: pl.DataFrame
) -> pl.DataFrame:
    """ROWS_READ of each file, with file_no."""
    facts = pl.DataFrame(
        [(number, file.file_id, file.known_at) for number, file in enumerate(files)],
        schema={"file_no": pl.UInt32, "file_id": pl.String, "known_at": UTC_TIME},
        orient="row",
    )
    return count_rows_read(months, waiting).join(facts, on="file_no", maintain_order="left")


def _by_file(rows: pl.DataFrame, numbers: range) -> list[pl.DataFrame]:
    """The rows of each file, in the order of the numbers."""
    if len(numbers) == 1:
        return [rows]
    parts = rows.partition_by("file_no", as_dict=True)
    return [parts.get((number,), rows.clear()) for number in numbers]


def _file_row(file: PickedFile, counted: Written, profile: Profile) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "file_id": file.file_id,
            "name": file.name,
            "site_id": file.site_id,
            "profile_id": profile.full_id,
            "state": "read",
            "n_rows": file.picked.height,
            "n_accepted": counted.n_accepted,
            "n_unchanged": counted.n_unchanged,
            "n_quarantined": counted.n_quarantined,
            "n_dropped_columns": file.n_dropped_columns,
            "n_forgotten": counted.n_forgotten or None,
            "intake_fingerprint": file.intake_fingerprint,
            "known_at": file.known_at,
            "read_by": file.read_by,
        },
        schema_overrides={"read_by": pl.String, "n_forgotten": pl.Int64},
    )
