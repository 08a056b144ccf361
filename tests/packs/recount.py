"""A second, simple count of a month from raw export files. Nothing of the program is imported.

It reads what the demo's sites send (delimited text, gzip, JSON lines, Parquet, workbooks, FHIR and
DICOM) by the headings of their profiles, keeps the newest row of each exam, and judges by the
printed rules of the criteria set: ten valid measurements (five for 2D-SWE), IQR/median below 30 %
(15 % in m/s). Quartiles of single readings: Hyndman and Fan 1996, type 7.
"""

import csv
import gzip
import io
import json
import re
import statistics
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow.parquet
import pydicom

RELIABLE, UNRELIABLE, INCOMPLETE, FAILED = "reliable", "unreliable", "incomplete", "failed"


@dataclass
class Row:
    exam_id: str
    operator: str
    month: str
    is_performed: bool
    outcome: str


@dataclass
class Counted:
    """Counts of one site's or operator's month."""

    judged: int = 0
    by_outcome: dict[str, int] = field(default_factory=dict)

    def add(self, row: Row) -> None:
        if row.is_performed and row.outcome:
            self.judged += 1
            self.by_outcome[row.outcome] = self.by_outcome.get(row.outcome, 0) + 1

    def n(self, outcome: str) -> int:
        return self.by_outcome.get(outcome, 0)


@cache
def count_site(network: Path, site_id: str, month: str) -> tuple[Counted, dict[str, Counted]]:
    """A month's exams of one site, and of each of its operators. month: '2026-10'."""
    toml = tomllib.loads((network / "network.toml").read_text(encoding="utf-8"))
    site = next(one for one in toml["sites"] if one["id"] == site_id)
    path = network / "profiles" / f"{site['profile']}.toml"
    profile = tomllib.loads(path.read_text(encoding="utf-8")) if path.exists() else EXAM_COLUMNS
    operators = _codes(toml["operators"], site_id)
    devices = _codes(toml["devices"], site_id)
    newest: dict[str, Row] = {}
    for path in sorted((network / "incoming" / site_id).rglob("*"), key=lambda path: path.name):
        # The demo's files are named after their month, and none is corrected after the last.
        if path.is_dir() or month not in str(path.relative_to(network)):
            continue
        reader = READERS.get(path.suffix.lstrip("."))
        rows = reader(path) if reader else read_rows(path, profile)
        for raw in rows:
            row = judge(Cells(raw, EXAM_COLUMNS if reader else profile), operators, devices)
            if row is not None:
                newest[row.exam_id] = row
    whole, by_operator = Counted(), {}
    for row in newest.values():
        if row.month == month:
            whole.add(row)
            by_operator.setdefault(row.operator, Counted()).add(row)
    return whole, by_operator


def count_operators(network: Path, month: str) -> dict[str, Counted]:
    """A month's exams of each operator, at whatever sites."""
    found: dict[str, Counted] = {}
    for folder in sorted((network / "incoming").iterdir()):
        for operator, one in count_site(network, folder.name, month)[1].items():
            whole = found.setdefault(operator, Counted())
            whole.judged += one.judged
            for outcome, n in one.by_outcome.items():
                whole.by_outcome[outcome] = whole.n(outcome) + n
    return found


def _codes(units: list[dict[str, Any]], site_id: str) -> dict[str, str]:
    """Code in the site's exports → id, whatever the day."""
    found = {}
    for one in units:
        for place in ({"site": one["site"], "code": one["code"]}, *one.get("assignments", ())):
            if place["site"] == site_id:
                found[place.get("code", one["code"])] = one["id"]
    return found


def read_rows(path: Path, profile: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Heading → cell of each row of one file; single readings of an exam are put together."""
    rows = _plain_rows(path, profile["file"])
    told = profile.get("measurements", {})
    if told.get("layout") == "columns":
        for raw in rows:
            start = told["headings"][0].rstrip("*")
            values = [_number(raw[one]) for one in raw if re.fullmatch(rf"{start}\d+", one)]
            yield raw | {"readings": [one for one in values if one is not None]}
    elif told.get("layout") == "rows":
        yield from _put_together(rows, profile, told)
    else:
        yield from rows


def _put_together(
    rows: Iterator[dict[str, Any]], profile: dict[str, Any], told: dict[str, Any]
) -> Iterator[dict[str, Any]]:
    exams: dict[str, dict[str, Any]] = {}
    for raw in rows:
        key = raw[profile["columns"]["exam_id"]["headings"][0]]
        exam = exams.setdefault(key, raw | {"readings": [], "n_rows": 0})
        value = _number(raw[told["headings"][0]])
        exam["n_rows"] += bool(raw[told["valid_heading"]])
        if raw[told["valid_heading"]] in told["valid_values"] and value is not None:
            exam["readings"].append(value)
    yield from exams.values()


def _plain_rows(path: Path, file: dict[str, Any]) -> Iterator[dict[str, Any]]:
    kind = path.suffix.lstrip(".")
    if kind == "parquet":
        yield from pyarrow.parquet.read_table(path).to_pylist()
        return
    if kind == "xlsx":
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        sheet = book[file["sheet"]] if file.get("sheet") in book.sheetnames else book.active
        lines = [[_text(cell) for cell in line] for line in sheet.iter_rows(values_only=True)]
        head = lines[file.get("header_row", 1) - 1]
        for line in lines[file.get("header_row", 1) :]:
            if any(line):
                yield dict(zip(head, line, strict=False))
        return
    data = path.read_bytes()
    data = gzip.decompress(data) if kind == "gz" else data
    text = data.decode(file.get("encoding", "utf-8"))
    if kind == "jsonl":
        yield from (json.loads(line) for line in text.splitlines() if line.strip())
        return
    lines = text.splitlines()[file.get("header_row", 1) - 1 :]
    yield from csv.DictReader(io.StringIO("\n".join(lines)), delimiter=file["delimiter"])


def read_fhir(path: Path) -> Iterator[dict[str, Any]]:
    """Exams of a Bundle or of NDJSON: a DiagnosticReport with its stiffness Observation."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".json":
        found = [one["resource"] for one in json.loads(text)["entry"]]
    else:
        found = [json.loads(line) for line in text.splitlines() if line.strip()]
    known = {f"{one['resourceType']}/{one['id']}": one for one in found}
    for report in found:
        if report["resourceType"] != "DiagnosticReport":
            continue
        results = [known[one["reference"]] for one in report["result"]]
        one = next(result for result in results if result["id"].startswith("s-"))
        parts = {
            part["code"]["coding"][0]["code"]: part.get("valueQuantity", {}).get("value")
            for part in one.get("component", ())
        }
        absent = one.get("dataAbsentReason", {}).get("coding", [{}])[0].get("code", "")
        value = one.get("valueQuantity", {})
        yield {
            "exam_id": report["identifier"][0]["value"],
            "operator": known[one["performer"][0]["reference"]]["identifier"][0]["value"],
            "device": known[one["device"]["reference"]]["serialNumber"],
            "technique": CODES.get(one["method"]["coding"][0]["code"], "TE"),
            "exam_at": one["effectiveDateTime"],
            "performed": "performed" if absent in ("", "error") else "no",
            "n_valid": parts.get("n-valid"),
            "n_attempted": parts.get("n-attempted"),
            "stiffness": value.get("value"),
            "stiffness_iqr": parts.get("iqr"),
            "unit": value.get("code", "kPa"),
        }


TECHNIQUES = {"2D Shear Wave Elastography": "2D-SWE"}
CODES = {"130609": "2D-SWE"}
"""A code of DICOM PS3.16, as the demo's sites send it."""


def read_dicom(path: Path) -> Iterator[dict[str, Any]]:
    """One structured report, one exam."""
    data = pydicom.dcmread(path)
    found: dict[str, Any] = {}
    _walk(data, found)
    person = data.OperatorIdentificationSequence[0].PersonIdentificationCodeSequence[0]
    yield {
        "exam_id": str(data.AccessionNumber),
        "operator": person.CodeValue,
        "device": str(data.DeviceSerialNumber),
        "technique": TECHNIQUES[found["Image Mode"]],
        "exam_at": f"{data.StudyDate[:4]}-{data.StudyDate[4:6]}-{data.StudyDate[6:]}",
        "performed": "performed",
        "n_valid": found.get("Valid measurements"),
        "n_attempted": found.get("Attempted measurements"),
        "stiffness": found.get("Shear Wave Speed"),
        "stiffness_iqr": found.get("Interquartile Range of population"),
        "unit": "m/s",
    }


def _walk(data: Any, found: dict[str, Any]) -> None:
    """Concept → number or coded word, at whatever depth."""
    for item in data.get("ContentSequence", ()):
        name = item.ConceptNameCodeSequence[0].CodeMeaning
        if item.get("MeasuredValueSequence"):
            found[name] = float(item.MeasuredValueSequence[0].NumericValue)
        elif item.get("ConceptCodeSequence"):
            found[name] = item.ConceptCodeSequence[0].CodeMeaning
        _walk(item, found)


READERS = {"dcm": read_dicom, "ndjson": read_fhir, "json": read_fhir}
NAMES = ("exam_id", "operator", "device", "technique", "performed", "n_valid", "n_attempted")
EXAM_COLUMNS: dict[str, Any] = {
    "file": {},
    "columns": {
        name: {"headings": [name]} for name in (*NAMES, "stiffness", "stiffness_iqr", "exam_at")
    },
}


def _number(cell: Any) -> float | None:
    try:
        return float(str(cell).replace(",", ".").lstrip("<>").strip())
    except ValueError:
        return None


def _text(cell: Any) -> str:
    return "" if cell is None else str(cell)


class Cells:
    """One row, read by a profile."""

    def __init__(self, raw: dict[str, Any], profile: dict[str, Any]) -> None:
        self.raw, self.columns, self.file = raw, profile["columns"], profile["file"]

    def text(self, name: str) -> str:
        column = self.columns.get(name)
        if column is None:
            return ""
        if "constant" in column:
            return str(column["constant"])
        value = next((self.raw[one] for one in column["headings"] if one in self.raw), None)
        cell = "" if value is None else str(value).strip()
        return "" if cell in self.file.get("missing", [""]) else cell

    def code(self, name: str) -> str:
        cell = self.text(name)
        codes = self.columns.get(name, {}).get("codes")
        return str(codes.get(cell, "")) if codes else cell

    def number(self, name: str) -> float | None:
        return _number(self.text(name))

    def month(self) -> str:
        name = "exam_at" if "exam_at" in self.columns else "exam_date"
        cell, shape = self.text(name), self.columns[name].get("date_format")
        if not cell:
            return ""
        at = datetime.strptime(cell, shape) if shape else datetime.fromisoformat(cell)
        return f"{at:%Y-%m}"


def judge(cells: Cells, operators: dict[str, str], devices: dict[str, str]) -> Row | None:
    """One row as an exam; None where it cannot be one: no such operator or device, no date, more
    valid measurements than attempts, a value without the unit that the row should state."""
    operator, month = operators.get(cells.text("operator")), cells.month()
    valid, attempted = cells.number("n_valid"), cells.number("n_attempted")
    if not operator or not month or cells.text("device") not in devices:
        return None
    if valid is not None and attempted is not None and valid > attempted:
        return None
    for name in ("stiffness", "attenuation"):
        has_unit = f"{name}_unit" in cells.columns
        if has_unit and cells.text(name) and not cells.text(f"{name}_unit"):
            return None
    performed = cells.code("performed") if "performed" in cells.columns else "performed"
    return Row(cells.text("exam_id"), operator, month, performed == "performed", outcome_of(cells))


def outcome_of(cells: Cells) -> str:
    """By the printed rules of common-practice.v1."""
    readings = cells.raw.get("readings")
    valid = cells.number("n_valid") if readings is None else len(readings)
    needed = 5 if cells.code("technique") == "2D-SWE" else 10
    if valid is None:
        return ""
    if valid == 0:
        return FAILED
    if valid < needed:
        return INCOMPLETE
    ratio = ratio_of(cells, readings)
    unit = cells.raw.get("unit") or cells.columns.get("stiffness", {}).get("unit")
    if ratio is None:
        return ""
    return RELIABLE if ratio < (0.15 if unit == "m/s" else 0.30) - 1e-12 else UNRELIABLE


def ratio_of(cells: Cells, readings: list[float] | None) -> float | None:
    """IQR over median as stated; from single readings where nothing is stated."""
    median, iqr = cells.number("stiffness"), cells.number("stiffness_iqr")
    if median and iqr is not None:
        return iqr / median
    if readings:
        low, middle, high = statistics.quantiles(readings, n=4, method="inclusive")
        return (high - low) / middle
    stated = cells.number("stated_ratio_pct")
    return None if stated is None else stated / 100
