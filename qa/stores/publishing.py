"""Publishing: a new immutable snapshot, and the small file that names the current one.

A snapshot is written beside its final name, flushed and renamed, and only then pointed to, so a
reader sees the old one or the new one and never half of either. Nothing is ever written over.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path

import duckdb
import polars as pl

from qa.model.errors import SnapshotError
from qa.stores.disk import disk_full, is_disk_full, put_in_place
from qa.stores.snapshots import (
    FORMAT_VERSION,
    POINTER,
    PUBLISHED_SCHEMAS,
    read_pointer,
    snapshot_file,
)

UNFINISHED = ".unfinished"


def publish_snapshot(
    snapshots: Path,
    *,
    frames: Mapping[str, pl.DataFrame],
    network_text: str,
    definition_texts: Mapping[str, Mapping[str, str]],
    published_at: datetime,
    software_version: str,
    is_current: bool = True,
) -> tuple[str, bool]:
    """Publish frames as a new snapshot, unless the current one says the same.

    Args:
        snapshots: the network's snapshots folder; made where it is missing.
        frames: one frame for each of PUBLISHED_SCHEMAS.
        published_at: UTC.
        is_current: False: a snapshot beside the published ones that screens and packs do not
            follow; its id begins with "K" and the moment as which it was known.
    Returns: the snapshot's id, and whether it is new.
    Raises: SnapshotError SNP-010 when the disk is full; the current one stays in force.
    """
    snapshots.mkdir(parents=True, exist_ok=True)
    checked = {name: schema.conform(frames[name]) for name, schema in PUBLISHED_SCHEMAS.items()}
    rules = json.dumps([network_text, definition_texts], sort_keys=True)
    digest = _digest_of(checked, rules + software_version)
    current = read_pointer(snapshots)
    if (
        is_current
        and current
        and current["digest"] == digest
        and snapshot_file(snapshots, current["snapshot_id"]).exists()
    ):
        return current["snapshot_id"], False
    letter = "S" if is_current else "K"
    snapshot_id = f"{letter}{published_at:%Y%m%dT%H%M%SZ}-{digest[:8]}"
    if not is_current and snapshot_file(snapshots, snapshot_id).exists():
        return snapshot_id, False
    meta = {
        "format_version": str(FORMAT_VERSION),
        "snapshot_id": snapshot_id,
        "published_at": published_at.isoformat(),
        "software_version": software_version,
        "digest": digest,
        "network_text": network_text,
        "definition_texts": json.dumps(definition_texts),
    }
    try:
        _write_database(snapshot_file(snapshots, snapshot_id), checked, meta)
        if is_current:
            _write_pointer(snapshots, {"snapshot_id": snapshot_id, "digest": digest})
    except (duckdb.Error, OSError) as problem:
        remove_unfinished(snapshots)
        if is_disk_full(problem):
            kept = "the snapshot published before stays in force"
            raise disk_full(SnapshotError, where="snapshots", kept=kept, code="SNP-010") from None
        raise
    return snapshot_id, True


def _digest_of(frames: Mapping[str, pl.DataFrame], rules: str) -> str:
    """Hash of all that the frames say; of exams, their versions say it."""
    total = hashlib.sha256(rules.encode())
    for name, schema in PUBLISHED_SCHEMAS.items():
        frame = frames[name].sort(schema.key)
        if name == "exams":
            frame = frame.select(
                *("exam_key", "version_no", "row_hash", "criteria_id"),
                *("is_repeat", "repeat_kind", "is_repeated"),
            )
        total.update(name.encode())
        # Lists have no plain text form in CSV, so they are joined first.
        lists = [
            pl.col(one).list.join(";") for one, kind in frame.schema.items() if kind == pl.List
        ]
        total.update(frame.with_columns(lists).write_csv().encode())
    return total.hexdigest()


def _write_database(
    path: Path, frames: Mapping[str, pl.DataFrame], meta: Mapping[str, str]
) -> None:
    unfinished = path.with_suffix(UNFINISHED)
    remove_unfinished(path.parent)
    with duckdb.connect(str(unfinished)) as connection:
        connection.execute("set timezone = 'UTC'")
        for name, frame in frames.items():
            connection.register(
                "incoming_frame", frame.sort(PUBLISHED_SCHEMAS[name].key).to_arrow()
            )
            connection.execute(f"create table {name} as select * from incoming_frame")
            connection.unregister("incoming_frame")
        connection.execute("create table meta (key varchar, value varchar)")
        connection.executemany(
            "insert into meta values (?, ?)", [list(one) for one in meta.items()]
        )
        connection.execute("checkpoint")
    put_in_place(unfinished, path)


def _write_pointer(snapshots: Path, content: Mapping[str, str]) -> None:
    unfinished = snapshots / (POINTER + UNFINISHED)
    unfinished.write_text(json.dumps(content), encoding="utf-8")
    put_in_place(unfinished, snapshots / POINTER)


def remove_unfinished(snapshots: Path) -> Iterable[Path]:
    """Delete what a broken-off publication left behind; returns what was deleted."""
    left = sorted(snapshots.glob(f"*{UNFINISHED}*"))
    for path in left:
        path.unlink()
    return left
