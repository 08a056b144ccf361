"""The baseline: DuckDB's read_csv into a native table, nothing checked, nothing hashed.

The table has the columns of the file that a profile maps, with their types given, so that DuckDB
guesses nothing; names, birth dates and notes are read past. Rows are committed once.
"""

import sys
from pathlib import Path

import duckdb

from tests.benchmarks._measured import tell

TYPES = {
    "Exam no": "VARCHAR", "Patient no": "VARCHAR", "Patient name": "VARCHAR", "Born on": "VARCHAR",
    "Seen at": "TIMESTAMP", "Seen by": "VARCHAR", "Scanner": "VARCHAR", "Method": "VARCHAR",
    "Probe": "VARCHAR", "Carried out": "VARCHAR", "Why not": "VARCHAR", "Kind of visit": "VARCHAR",
    "Shots": "INTEGER", "Good shots": "INTEGER", "Stiffness kPa": "DOUBLE",
    "Stiffness IQR kPa": "DOUBLE", "IQR to median %": "DOUBLE", "Attenuation dB/m": "DOUBLE",
    "Attenuation IQR dB/m": "DOUBLE", "Fasted h": "DOUBLE", "Rested min": "DOUBLE",
    "Body-mass index": "DOUBLE", "Age": "INTEGER", "Sex": "VARCHAR", "Cause": "VARCHAR",
    "Duration s": "DOUBLE", "Notes": "VARCHAR",
}  # fmt: skip
LEFT_OUT = ("Patient name", "Born on", "Notes")


def reading(folder: Path) -> tuple[str, list[str]]:
    """The call of read_csv and the files that are its parameter."""
    paths = sorted(str(path) for path in (folder / "incoming").rglob("*.csv"))
    types = ", ".join(f"'{name}': '{kind}'" for name, kind in TYPES.items())
    call = (
        "read_csv(?, auto_detect = false, header = true, delim = ',', quote = '\"', "
        f"columns = {{{types}}}, timestampformat = '%Y-%m-%d %H:%M')"
    )
    return call, paths


def main(folder: Path) -> None:
    source, paths = reading(folder)
    kept = ", ".join(f'"{name}"' for name in TYPES if name not in LEFT_OUT)
    with duckdb.connect(str(folder / "bare.duckdb")) as con:
        con.execute(f"CREATE TABLE exams AS SELECT {kept} FROM {source}", [paths])
        counted = con.sql("SELECT count(*) FROM exams").fetchall()
    tell(n_rows=counted[0][0])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
