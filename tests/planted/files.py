"""The demo's files read by general libraries, not by the program: rows of heading → typed value."""

import csv
import gzip
import io
import json
import tomllib
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow.parquet as pq

PROFILES = Path(__file__).parents[2] / "demo_sites" / "profiles"
Row = dict[str, Any]


def profile_of(shape_id: str) -> dict[str, Any]:
    return tomllib.loads((PROFILES / f"{shape_id}.toml").read_text(encoding="utf-8"))


def rows_of(path: Path, profile: dict[str, Any]) -> list[Row]:
    """Every row under the headings; cells as text, or typed where the format has types."""
    rules = profile["file"]
    return {"csv": _text, "xlsx": _workbook, "jsonl": _lines, "parquet": _parquet}[rules["format"]](
        path, rules
    )


def _text(path: Path, rules: dict[str, Any]) -> list[Row]:
    content = path.read_bytes()
    if path.suffix == ".gz":
        content = gzip.decompress(content)
    lines = content.decode(rules["encoding"]).splitlines(keepends=True)
    body = "".join(lines[rules["header_row"] - 1 :])
    return list(csv.DictReader(io.StringIO(body, newline=""), delimiter=rules["delimiter"]))


def _workbook(path: Path, rules: dict[str, Any]) -> list[Row]:
    sheet = openpyxl.load_workbook(io.BytesIO(path.read_bytes()))[rules["sheet"]]
    headings, *rows = list(sheet.iter_rows(min_row=rules["header_row"], values_only=True))
    return [dict(zip(headings, row, strict=True)) for row in rows]


def _lines(path: Path, rules: dict[str, Any]) -> list[Row]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def _parquet(path: Path, rules: dict[str, Any]) -> list[Row]:
    return pq.read_table(path).to_pylist()


def value(row: Row, target: str, profile: dict[str, Any]) -> Any:
    """What a profile makes of one cell: missing signs, codes and the decimal sign."""
    column = profile["columns"][target]
    if "constant" in column:
        return column["constant"]
    cell = row[column["headings"][0]]
    if cell is None or cell in profile["file"]["missing"]:
        return column.get("missing_as")
    if isinstance(cell, bool):
        cell = str(cell).lower()
    if "codes" in column:
        return column["codes"][cell]
    is_text = isinstance(cell, str)
    return cell.replace(profile["file"].get("decimal", "."), ".") if is_text else cell


def resources_of(path: Path) -> list[Row]:
    """FHIR resources of a Bundle or of lines."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".ndjson":
        return [json.loads(line) for line in text.splitlines()]
    return [entry["resource"] for entry in json.loads(text)["entry"]]
