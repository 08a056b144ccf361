"""A second baseline: DuckDB's read_csv into a native table with all columns of our exams.

Nothing is checked and nothing is hashed: numbers of exam and patient stand where their keyed hashes
would, codes stand as they are written. It shows what of the cost is the width of the table.
"""

import sys
from pathlib import Path

import duckdb

from qa.model.schemas import EXAMS
from tests.benchmarks._intake_bare import reading
from tests.benchmarks._measured import tell

_SQL_TYPES = {
    "String": "VARCHAR",
    "Int32": "INTEGER",
    "Float64": "DOUBLE",
    "Boolean": "BOOLEAN",
    "Date": "DATE",
    "Datetime": "TIMESTAMPTZ",
    "List": "DOUBLE[]",
}
_FROM_FILE = {
    "exam_key": '"Exam no"', "patient_key": '"Patient no"', "row_hash": '"Exam no"',
    "operator_id": '"Seen by"', "device_id": '"Scanner"', "technique": '"Method"',
    "probe": '"Probe"', "performed": '"Carried out"', "not_performed_reason": '"Why not"',
    "order_type": '"Kind of visit"', "n_attempted": '"Shots"', "n_valid": '"Good shots"',
    "stiffness_value": '"Stiffness kPa"', "stiffness_iqr": '"Stiffness IQR kPa"',
    "stiffness_kpa": '"Stiffness kPa"', "stated_ratio_share": '"IQR to median %" / 100',
    "attenuation_value": '"Attenuation dB/m"', "attenuation_iqr": '"Attenuation IQR dB/m"',
    "attenuation_db_m": '"Attenuation dB/m"', "attenuation_iqr_db_m": '"Attenuation IQR dB/m"',
    "fasting_hours": '"Fasted h"', "rest_minutes": '"Rested min"', "bmi_kg_m2": '"Body-mass index"',
    "age_years": '"Age"', "sex": '"Sex"', "indication": '"Cause"', "duration_s": '"Duration s"',
    "exam_at": '"Seen at"', "exam_on": '"Seen at"', "month": "date_trunc('month', \"Seen at\")",
    "site_id": "'alder-sound'", "stiffness_unit": "'kPa'", "attenuation_unit": "'dB/m'",
    "file_id": "repeat('0', 64)", "profile_id": "'harbour.v1'",
    "known_at": "TIMESTAMP '2026-11-04'", "version_no": "1", "row_no": "row_number() OVER ()",
    "flags": "[]::VARCHAR[]",
    "is_stiffness_censored": "\"Stiffness kPa\" >= 75", "is_date_nominal": "false",
    "is_attenuation_censored": '"Attenuation dB/m" >= 400', "is_retracted": "false",
}  # fmt: skip


def main(folder: Path) -> None:
    columns = []
    for column in EXAMS.columns:
        kind = (
            "VARCHAR[]" if column.name == "flags" else _SQL_TYPES[str(column.dtype).split("(")[0]]
        )
        columns.append(f'({_FROM_FILE.get(column.name, "NULL")})::{kind} AS "{column.name}"')
    source, paths = reading(folder)
    with duckdb.connect(str(folder / "bare.duckdb")) as con:
        con.execute("SET TimeZone = 'UTC'")
        con.execute(f"CREATE TABLE exams AS SELECT {', '.join(columns)} FROM {source}", [paths])
        counted = con.sql("SELECT count(*) FROM exams").fetchall()
    tell(n_rows=counted[0][0])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
