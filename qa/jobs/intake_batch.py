"""A batch of files of one profile: judged in slices of rows, written in runs of whole files.

A run is one transaction: its files share no exam, so each of its rows is compared with what the
warehouse held before it. Within a run rows go through in slices, so that memory does not grow with
the length of a file; rows of one exam stay in one slice.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import polars as pl

from qa.intake.apply import apply_checks
from qa.intake.checks import ROW_CHECKS, VERSION_CHECKS
from qa.intake.pseudonym import is_hidden
from qa.intake.registers import Registers
from qa.intake.rows import map_rows
from qa.intake.rows_read import count_rows_read
from qa.intake.runs import find_exam_keys, find_runs
from qa.intake.versions import decide_versions, join_known
from qa.jobs.intake_slices import RawFile, identity_columns, slices_of
from qa.model.definitions import Profile
from qa.model.schemas import EXAMS, UTC_TIME
from qa.stores.forgetting import forgotten_hashes
from qa.stores.warehouse import Warehouse
from qa.stores.warehouse_append import FileAppender, appending_files

_KEPT = ["file_no", "file_first_seq", *(name for name in EXAMS.names if name != "version_no")]


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


@dataclass(frozen=True)
class Judging:
    """What rows are judged by, the same for all slices of a batch."""

    profile: Profile
    registers: Registers
    key: bytes
    hidden: set[str]


@dataclass(frozen=True)
class _Judged:
    """What is left of a slice once its exams are written; every frame has file_no."""

    exams: pl.DataFrame
    unchanged: pl.DataFrame
    held: pl.DataFrame
    months: pl.DataFrame


def write_batch(
    warehouse: Warehouse,
    files: Sequence[RawFile],
    *,
    profile: Profile,
    registers: Registers,
    key: bytes,
) -> Iterator[Written]:
    """Map, judge and write files of one profile, in their order.

    Yields: what became of each file, once it is written.
    """
    judging = Judging(profile, registers, key, forgotten_hashes(warehouse))
    facts = _facts_of(files, profile)
    identities = identity_columns(files, profile=profile).join(
        facts.select("file_no", "site_of_file"), on="file_no", how="left", maintain_order="left"
    )
    keys = find_exam_keys(identities, site_ids=registers.site_ids, key=key)
    for run in find_runs(keys, n_files=len(files)):
        yield from _write_run(warehouse, files, run, keys, facts, judging)


def _facts_of(files: Sequence[RawFile], profile: Profile) -> pl.DataFrame:
    """One row per file: number, site, provenance and place among all files."""
    return pl.DataFrame(
        [
            (number, one.site_id, one.first_seq, one.file_id, profile.full_id, one.known_at)
            for number, one in enumerate(files)
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


def _write_run(
    warehouse: Warehouse,
    files: Sequence[RawFile],
    run: range,
    keys: pl.DataFrame,
    facts: pl.DataFrame,
    judging: Judging,
) -> Iterator[Written]:
    """Files that share no exam, in one transaction."""
    of_run = keys.filter(pl.col("file_no").is_between(run.start, run.stop - 1))
    latest = warehouse.latest_versions(of_run["exam_key"].drop_nulls())
    judged = []
    with appending_files(warehouse, first_no=run.start) as appender:
        for rows in slices_of(files, run, of_run, profile=judging.profile):
            rows = rows.join(facts, on="file_no", how="left", maintain_order="left")
            judged.append(_judge(rows, latest, judging, appender))
        written = _counted(files, run, judged)
        _append_rest(appender, files, run, judged, latest, written, judging.profile)
    yield from written


def _judge(
    raw: pl.DataFrame, latest: pl.DataFrame, judging: Judging, appender: FileAppender
) -> _Judged:
    """Judge a slice, compare it with the warehouse, and write what enters."""
    profile = judging.profile
    rows = map_rows(raw, profile=profile, registers=judging.registers, key=judging.key)
    if judging.hidden:
        is_out = is_hidden(rows["patient_key"], hidden=judging.hidden, key=judging.key)
        rows = rows.filter(~is_out)
    checked = apply_checks(rows, checks=ROW_CHECKS, profile=profile)
    decided = decide_versions(join_known(checked.accepted.select(_KEPT), latest))
    judged = apply_checks(decided.entering, checks=VERSION_CHECKS, profile=profile)
    appender.append("exams", judged.accepted)
    return _Judged(
        exams=judged.accepted.select("file_no"),
        unchanged=decided.unchanged.select(
            "exam_key", "row_hash", "file_no", "file_id", "row_no", "known_at"
        ),
        held=pl.concat([checked.quarantined, judged.quarantined]),
        months=rows.select("file_no", "row_no", "site_id", "exam_on", "known_at"),
    )


def _counted(files: Sequence[RawFile], run: range, judged: Sequence[_Judged]) -> list[Written]:
    """What became of the rows of each file of the run."""

    def by_file(frames: list[pl.DataFrame]) -> dict[int, int]:
        return dict(pl.concat(frames).group_by("file_no").len().rows())

    exams = by_file([one.exams for one in judged])
    unchanged = by_file([one.unchanged.select("file_no") for one in judged])
    held = by_file([one.held.select("file_no") for one in judged])
    codes = dict(
        pl.concat([one.held.select("file_no", pl.col("codes").list.unique()) for one in judged])
        .group_by("file_no")
        .agg(pl.col("codes").explode().drop_nulls())
        .rows()
    )
    written = []
    for number in run:
        n_exams, n_unchanged, n_held = (part.get(number, 0) for part in (exams, unchanged, held))
        n_left_out = files[number].n_rows - n_exams - n_unchanged - n_held
        written.append(Written(n_exams, n_unchanged, n_held, codes.get(number, []), n_left_out))
    return written


def _append_rest(
    appender: FileAppender,
    files: Sequence[RawFile],
    run: range,
    judged: Sequence[_Judged],
    latest: pl.DataFrame,
    written: Sequence[Written],
    profile: Profile,
) -> None:
    held = pl.concat([one.held for one in judged]).sort("file_no", "row_no")
    counts = count_rows_read(pl.concat([one.months for one in judged]), held)
    rows = pl.DataFrame(
        [
            _file_row(number, files[number], one, profile)
            for number, one in zip(run, written, strict=True)
        ],
        schema_overrides={"read_by": pl.String, "n_forgotten": pl.Int64, "file_no": pl.UInt32},
        infer_schema_length=None,
    )
    appender.append("files", rows)
    appender.append("quarantined", held)
    of_files = rows.select("file_no", "file_id", "known_at")
    appender.append("rows_read", counts.join(of_files, on="file_no", maintain_order="left"))
    for one in judged:
        appender.append("sightings", _sightings(one.unchanged, latest))


def _sightings(unchanged: pl.DataFrame, latest: pl.DataFrame) -> pl.DataFrame:
    """SIGHTINGS, with file_no: rows that another file than the version's own holds as well, so
    that the exam stays in when that file is withdrawn."""
    standing = latest.select(
        "exam_key", "row_hash", version_no="standing_version_no", standing_file_id="file_id"
    )
    return unchanged.join(standing, on=["exam_key", "row_hash"], maintain_order="left").filter(
        pl.col("file_id") != pl.col("standing_file_id")
    )


def _file_row(number: int, file: RawFile, counted: Written, profile: Profile) -> dict[str, object]:
    return {
        "file_no": number,
        "file_id": file.file_id,
        "name": file.name,
        "site_id": file.site_id,
        "profile_id": profile.full_id,
        "state": "read",
        "problem": None,
        "n_rows": file.n_rows,
        "n_accepted": counted.n_accepted,
        "n_unchanged": counted.n_unchanged,
        "n_quarantined": counted.n_quarantined,
        "n_dropped_columns": file.taken.n_dropped_columns,
        "n_forgotten": counted.n_forgotten or None,
        "intake_fingerprint": file.intake_fingerprint,
        "known_at": file.known_at,
        "read_by": file.read_by,
    }
