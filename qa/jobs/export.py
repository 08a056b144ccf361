"""Write what was published, or what waits in quarantine, to one CSV or Parquet file."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from qa.jobs.refresh import find_frames
from qa.model.errors import ExportError
from qa.model.need_schema import NEEDS
from qa.model.practice_schema import PRACTICE_MONTHS
from qa.model.schemas import (
    BASELINES,
    CHART_POINTS,
    INTAKE_MONTHS,
    MEASURE_VALUES,
    MONTHLY_COUNTS,
    QUARANTINED,
    SIGNALS,
    Schema,
)
from qa.stores.definitions import read_definition_texts
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.snapshots import JUDGED_EXAMS, open_current
from qa.stores.warehouse import open_warehouse
from qa.views.needs import needs_frame

EXPORTS: dict[str, Schema] = {
    "exams": JUDGED_EXAMS,
    "counts": MONTHLY_COUNTS,
    "measures": MEASURE_VALUES,
    "charts": CHART_POINTS,
    "baselines": BASELINES,
    "signals": SIGNALS,
    "needs": NEEDS,
    "practice": PRACTICE_MONTHS,
    "intake": INTAKE_MONTHS,
    "quarantine": QUARANTINED,
}
_FRAMES = {
    "exams": "exams",
    "counts": "monthly_counts",
    "measures": "chart_points",
    "charts": "chart_points",
    "baselines": "baselines",
    "signals": "signals",
    "practice": "practice_months",
    "intake": "intake_months",
    "quarantine": "quarantined",
}
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class ExportReport:
    n_rows: int
    path: Path


def run_export(
    folder: Path,
    *,
    what: str,
    out: Path,
    as_known_at: datetime | None = None,
    environ: Mapping[str, str] | None = None,
) -> ExportReport:
    """Write one of EXPORTS; the columns are those of its schema, in its order.

    A list cell is written to CSV with ";" between its items. The file appears whole or not at all.

    Args:
        as_known_at: what the warehouse knew then, judged by today's network.toml and definitions,
            instead of what was published.
        environ: may say where the register of devices is kept; None: in the folder.
    Raises: ExportError when the ending is neither .csv nor .parquet or the place cannot be
        written; SnapshotError when nothing was published yet.
    """
    check_ending(out)
    frame = _find_frame(folder, what, as_known_at, environ or {})
    return write_frame(frame, out)


def check_ending(out: Path) -> None:
    """Raises: ExportError EXP-001 for anything but .csv and .parquet."""
    if out.suffix.lower() not in (".csv", ".parquet"):
        raise ExportError(
            f"cannot write '{out.suffix or out.name}' files",
            where=str(out),
            expected="a name that ends in .csv or .parquet",
            code="EXP-001",
        )


def write_frame(frame: pl.DataFrame, out: Path) -> ExportReport:
    """Write a frame to a file that appears whole or not at all.

    Raises: ExportError EXP-001, EXP-002.
    """
    check_ending(out)
    unfinished = out.with_name(out.name + ".unfinished")
    try:
        if out.suffix.lower() == ".csv":
            to_flat_text(frame).write_csv(unfinished)
        else:
            frame.write_parquet(unfinished)
        os.replace(unfinished, out)
    except OSError as problem:
        unfinished.unlink(missing_ok=True)
        raise ExportError(
            f"cannot be written ({problem.strerror or problem})",
            where=str(out),
            todo="Choose a folder that exists and has room",
            code="EXP-002",
        ) from None
    return ExportReport(frame.height, out)


def to_flat_text(frame: pl.DataFrame) -> pl.DataFrame:
    """Lists joined by ";", and no text cell that a spreadsheet would run as a formula."""
    lists = [
        pl.col(name).cast(pl.List(pl.String)).list.join(";")
        for name, kind in frame.schema.items()
        if kind == pl.List
    ]
    flat = frame.with_columns(lists)
    texts = [name for name, kind in flat.schema.items() if kind == pl.String]
    return flat.with_columns(
        pl.when(pl.col(name).str.head(1).is_in(FORMULA_STARTS))
        .then("'" + pl.col(name))
        .otherwise(pl.col(name))
        .alias(name)
        for name in texts
    )


def _find_frame(
    folder: Path, what: str, as_known_at: datetime | None, environ: Mapping[str, str]
) -> pl.DataFrame:
    load_network(folder)
    if as_known_at is not None and what == "needs":
        raise ExportError(
            "needs are told of what is published only",
            expected="no --as-known-at",
            todo="Leave it out, or export signals as known then",
            code="EXP-003",
        )
    if as_known_at is not None:
        return EXPORTS[what].conform(_known_frame(folder, what, as_known_at, environ))
    if what == "quarantine":
        with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
            return QUARANTINED.conform(warehouse.quarantined())
    snapshot = open_current(folder)
    try:
        if what == "needs":
            return needs_frame(snapshot)
        return EXPORTS[what].conform(snapshot.frame(_FRAMES[what]))
    finally:
        snapshot.close()


def _known_frame(
    folder: Path, what: str, moment: datetime, environ: Mapping[str, str]
) -> pl.DataFrame:
    with open_warehouse(NetworkFolder(folder).warehouse, as_known_at=moment) as warehouse:
        if what == "quarantine":
            return warehouse.quarantined()
        texts = read_definition_texts()
        done = find_frames(
            warehouse, folder, texts=texts, at=moment, by="as known then", environ=environ
        )
        return done.frames[_FRAMES[what]]
