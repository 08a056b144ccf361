"""Write the faulty files that no text editor can: python -m tests.bad_exports.make_files

Each is made with another library than the one that reads it, from one good table or report,
with one fault. Names and numbers of patients in them are planted.
"""

import gzip
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow as pa
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence as Items

from tests.unit.readers import writers
from tests.unit.readers.writers import (
    ELASTICITY,
    MODE,
    PEOPLE_AND_THINGS,
    PSWE,
    attenuation,
    bundle,
    code_item,
    coded_value,
    dicom_report,
    median,
    quantity,
    report,
    stiffness,
)

HERE = Path(__file__).parent
HEADINGS = ["Exam", "Name", "Patient", "Date", "Operator", "Device", "Valid", "Stiffness"]
GOOD = ["E-1", "Quillfeather, Ottoline", "9021007", "2026-03-05 14:20", "A", "D1", 10, 9.2]
MORE = ["E-2", "Featherquill, Zebulon", "9021008", "2026-03-05 15:00", "A", "D1", 10, 8.1]
OPERATOR = ("OP-31", "99INVENTED", "An operator")

MADE: dict[str, Callable[[], bytes]] = {}


def made(name: str) -> Callable[[Callable[[], bytes]], Callable[[], bytes]]:
    def keep(make: Callable[[], bytes]) -> Callable[[], bytes]:
        MADE[name] = make
        return make

    return keep


def changed(row: list[Any], **cells: Any) -> list[Any]:
    return [cells.get(heading, cell) for heading, cell in zip(HEADINGS, row, strict=True)]


# Workbooks


def workbook(*rows: list[Any], headings: list[str] = HEADINGS) -> bytes:
    return writers.write_xlsx(headings, rows)


def with_part(book: bytes, part: str, change: Callable[[bytes], bytes]) -> bytes:
    """The workbook with one of its parts changed."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(target, "w", 8) as new:
        for name in old.namelist():
            new.writestr(name, change(old.read(name)) if name == part else old.read(name))
    return target.getvalue()


def with_cell(column: int, value: Any) -> bytes:
    """The good workbook with another cell in its second row, as openpyxl writes it."""
    book = openpyxl.load_workbook(io.BytesIO(workbook(GOOD, MORE)))
    book.active.cell(row=3, column=column).value = value
    return writers.saved(book)


@made("good.xlsx")
def _() -> bytes:
    return workbook(GOOD, MORE)


@made("two_sheets.xlsx")
def _() -> bytes:
    book = openpyxl.load_workbook(io.BytesIO(workbook(GOOD, MORE)))
    book.create_sheet("Notes")["A1"] = "Quillfeather"
    return writers.saved(book)


@made("headings_only.xlsx")
def _() -> bytes:
    return workbook()


@made("missing_column.xlsx")
def _() -> bytes:
    return workbook(GOOD[:-1], headings=HEADINGS[:-1])


@made("duplicate_heading.xlsx")
def _() -> bytes:
    return workbook([*GOOD, 9.3], headings=[*HEADINGS, "Stiffness"])


@made("old_kind.xlsx")
def _() -> bytes:
    return bytes.fromhex("d0cf11e0a1b11ae1") + bytes(504)


@made("text.xlsx")
def _() -> bytes:
    return writers.write_csv(HEADINGS, [GOOD], delimiter=",")


@made("broken.xlsx")
def _() -> bytes:
    return workbook(GOOD, MORE)[:-900]


@made("entity.xlsx")
def _() -> bytes:
    declared = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>'
    part = "xl/worksheets/sheet1.xml"
    return with_part(workbook(GOOD), part, lambda xml: declared + xml)


@made("zip_bomb.xlsx")
def _() -> bytes:
    blanks = b" " * 12_000_000
    part = "xl/worksheets/sheet1.xml"
    return with_part(workbook(GOOD), part, lambda xml: xml.replace(b"<sheetData>", blanks, 1))


@made("long_number.xlsx")
def _() -> bytes:
    return workbook(changed(GOOD, Patient=90210071234567890))


@made("formula_without_value.xlsx")
def _() -> bytes:
    return with_cell(5, '=HYPERLINK("http://quillfeather.invalid","A")')


@made("error_cell.xlsx")
def _() -> bytes:
    return with_cell(8, "#DIV/0!")


# JSON lines


def lines(*rows: list[Any], **more: Any) -> bytes:
    text = writers.write_jsonl([*HEADINGS, *more], [[*row, *more.values()] for row in rows])
    return text + b"\n"


@made("good.jsonl")
def _() -> bytes:
    return lines(GOOD, MORE)


@made("nested.jsonl")
def _() -> bytes:
    return lines(changed(GOOD, Stiffness={"value": 9.2, "unit": "kPa"}))


@made("list.jsonl")
def _() -> bytes:
    return lines(GOOD) + json.dumps(MORE).encode()


@made("broken_line.jsonl")
def _() -> bytes:
    return lines(GOOD, MORE)[:-30]


@made("duplicate_key.jsonl")
def _() -> bytes:
    return lines(GOOD).replace(b'"Valid": 10', b'"Valid": 10, "Valid": 12')


@made("wrong_encoding.jsonl")
def _() -> bytes:
    return lines(changed(GOOD, Name="Müller")).decode().encode("cp1252")


@made("missing_column.jsonl")
def _() -> bytes:
    return writers.write_jsonl(HEADINGS[:-1], [GOOD[:-1]])


@made("unknown_column.jsonl")
def _() -> bytes:
    return lines(GOOD, Remark="Quillfeather")


@made("true_for_a_number.jsonl")
def _() -> bytes:
    return lines(GOOD, changed(MORE, Valid=True))


# Parquet


def table(**columns: Any) -> pa.Table:
    base = {heading: [one, two] for heading, one, two in zip(HEADINGS, GOOD, MORE, strict=True)}
    return pa.table(base | columns)


@made("good.parquet")
def _() -> bytes:
    return writers.parquet_of(table())


@made("broken.parquet")
def _() -> bytes:
    return writers.parquet_of(table())[:-200]


@made("text.parquet")
def _() -> bytes:
    return writers.write_csv(HEADINGS, [GOOD], delimiter=",")


@made("nested.parquet")
def _() -> bytes:
    return writers.parquet_of(table(Stiffness=[[9.2, 9.3], [8.1]]))


@made("bytes_in_column.parquet")
def _() -> bytes:
    return writers.parquet_of(table(Operator=[b"A", b"A"]))


@made("missing_column.parquet")
def _() -> bytes:
    return writers.parquet_of(table().drop_columns(["Stiffness"]))


@made("no_rows.parquet")
def _() -> bytes:
    return writers.parquet_of(table().slice(0, 0))


@made("null_in_column.parquet")
def _() -> bytes:
    return writers.parquet_of(table(Patient=["9021007", None]))


# FHIR


def exam(*extra: dict[str, Any], **changes: Any) -> bytes:
    """One exam: people and things, a report and its two Observations."""
    return bundle(
        *PEOPLE_AND_THINGS, report("s1", "a1"), stiffness("s1", **changes), attenuation(), *extra
    )


@made("good.json")
def _() -> bytes:
    return exam()


@made("no_exam.json")
def _() -> bytes:
    return bundle(*PEOPLE_AND_THINGS)


@made("reference_missing.json")
def _() -> bytes:
    nobody = {"reference": "#p9"}
    return bundle(*PEOPLE_AND_THINGS, report("s1", subject=nobody), stiffness(subject=nobody))


@made("another_patient.json")
def _() -> bytes:
    return exam(subject={"reference": "Patient/p9"})


@made("two_stiffness_one_attenuation.json")
def _() -> bytes:
    both = [stiffness("s1"), stiffness("s2"), attenuation()]
    return bundle(*PEOPLE_AND_THINGS, report("s1", "s2", "a1"), *both)


@made("missing_status.json")
def _() -> bytes:
    return exam(status=None)


@made("unknown_status.json")
def _() -> bytes:
    return exam(status="done")


@made("resource_differs.json")
def _() -> bytes:
    return exam(stiffness("s1", valueQuantity=quantity(9.9, "kPa")))


@made("attenuation_alone.json")
def _() -> bytes:
    return bundle(*PEOPLE_AND_THINGS, stiffness("s1"), attenuation())


@made("text_for_a_number.json")
def _() -> bytes:
    return exam(valueQuantity={**quantity(9.2, "kPa"), "value": "nine"})


@made("broken.json")
def _() -> bytes:
    return exam()[:-40]


@made("wrong_unit.json")
def _() -> bytes:
    return exam(valueQuantity=quantity(92, "mmHg"), component=None)


@made("unknown_operator.json")
def _() -> bytes:
    return exam(performer=[{"reference": "Practitioner/u31"}]).replace(b'"31"', b'"47"')


# DICOM


def sr(*items: Any, **header: Any) -> bytes:
    """A report by a coded operator, with the technique; the operator's name is planted."""
    person = Dataset()
    person.PersonIdentificationCodeSequence = code_item(OPERATOR)
    people = {"OperatorIdentificationSequence": Items([person]), "OperatorsName": "Quillfeather"}
    return dicom_report(coded_value(MODE, PSWE), *items, **(people | header))


def elasticity(value: str | None = "9.2", unit: str = "kPa") -> Any:
    return median(ELASTICITY, value, unit)


@made("good.dcm")
def _() -> bytes:
    return sr(elasticity())


@made("text.dcm")
def _() -> bytes:
    return writers.write_csv(HEADINGS, [GOOD], delimiter=",")


@made("broken.dcm")
def _() -> bytes:
    return sr(elasticity())[:-60]


@made("image.dcm")
def _() -> bytes:
    return sr(elasticity(), Modality="US", SOPClassUID="1.2.840.10008.5.1.4.1.1.6.1")


@made("no_exam.dcm")
def _() -> bytes:
    return sr()


@made("wrong_meaning.dcm")
def _() -> bytes:
    return sr(median(("110830", "DCM", "Quillfeather"), "9.2", "kPa"))


@made("no_number.dcm")
def _() -> bytes:
    return sr(elasticity("9.25")).replace(b"9.25", b"nine")


@made("two_values.dcm")
def _() -> bytes:
    return sr(elasticity("9.2\\9.9"))


@made("wrong_unit.dcm")
def _() -> bytes:
    return sr(elasticity("92", "mm[Hg]"))


@made("stiffness_twice.dcm")
def _() -> bytes:
    return sr(elasticity("9.2"), elasticity("9.9"))


# Packed and large text

CSV = ",".join(HEADINGS).encode()


def packed(text: bytes) -> bytes:
    return gzip.compress(text, mtime=0)


@made("broken.csv.gz")
def _() -> bytes:
    return packed((HERE / "good.csv").read_bytes())[:-20]


@made("zip_bomb.csv.gz")
def _() -> bytes:
    return packed(CSV + b"\n" + b"0" * 40_000_000)


@made("long_line.csv.gz")
def _() -> bytes:
    noise = bytes(33 + n * n * 31 % 89 for n in range(1_100_000))
    return packed(CSV + b"\n" + noise.replace(b'"', b"a").replace(b",", b"b"))


@made("too_many_columns.csv")
def _() -> bytes:
    return ",".join(f"c{n}" for n in range(1_001)).encode() + b"\n1\n"


def main() -> None:
    for name, make in MADE.items():
        (HERE / name).write_bytes(make())


if __name__ == "__main__":
    main()
