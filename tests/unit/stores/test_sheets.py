"""Sheets for sites: whole files, and text that no spreadsheet program runs.

The signs are those of OWASP, CSV Injection. Workbooks are read back with openpyxl, and their XML is
looked at for formulas.
"""

import csv
import zipfile
from pathlib import Path

import openpyxl
import pytest

from qa.model.errors import ExportError
from qa.model.spreadsheets import FORMULA_STARTS, safe_text
from qa.stores.sheets import write_sheet

HEADINGS = ("Row", "Found")
DANGEROUS = [
    "=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1", "\n=1+1", "＝1+1", "＋1", "－1", "＠x",
    '=HYPERLINK("http://x.invalid","y")', "=cmd|' /C calc'!A0", '-2+3+cmd|"/C calc"!A0',
    "https://x.invalid/a", "mailto:a@x.invalid", "internal:Sheet1!A1", "{=1+1}",
]  # fmt: skip


def write(path: Path, rows: list[tuple], **more) -> Path:
    write_sheet(path, headings=HEADINGS, rows=rows, title="To mend", **more)
    return path


@pytest.mark.parametrize("text", [text for text in DANGEROUS if text.startswith(FORMULA_STARTS)])
def test_write_sheet_csv_formula_becomes_text(tmp_path: Path, text: str):
    path = write(tmp_path / "a.csv", [(1, text)])
    with path.open(encoding="utf-8-sig", newline="") as file:
        _, [number, found] = csv.reader(file)
    assert (number, found) == ("1", f"'{text}")


def test_write_sheet_csv_every_cell_is_quoted_and_signs_inside_stay(tmp_path: Path):
    path = write(tmp_path / "a.csv", [(1, 'a;=1+1,"b"\nc')])
    content = path.read_bytes()
    assert content == b'\xef\xbb\xbf"Row","Found"\r\n"1","a;=1+1,""b""\nc"\r\n'


@pytest.mark.parametrize("text", [*DANGEROUS, "9.2", "007", "2026-10-01", "true", "", " x "])
def test_write_sheet_xlsx_text_stays_text(tmp_path: Path, text: str):
    path = write(tmp_path / "a.xlsx", [(1, text)])
    [_, (number, found)] = openpyxl.load_workbook(path)["To mend"].rows
    assert (number.value, number.data_type) == (1, "n")
    assert (found.value.replace("_x000D_", "\r"), found.data_type) == (text, "s")
    assert (found.number_format, found.quotePrefix) == ("@", True)


def test_write_sheet_xlsx_holds_no_formula_link_or_macro(tmp_path: Path):
    path = write(tmp_path / "a.xlsx", [(1, text) for text in DANGEROUS], notes=DANGEROUS)
    with zipfile.ZipFile(path) as book:
        names = book.namelist()
        sheets = [book.read(name) for name in names if name.startswith("xl/worksheets/")]
        links = [name for name in names if "rels" in name and "worksheets" in name]
    assert len(sheets) == 2
    assert not [one for one in sheets if b"<f>" in one or b"<f " in one or b"hyperlink" in one]
    assert not links
    assert not [name for name in names if "vba" in name.lower() or "external" in name.lower()]


def test_write_sheet_xlsx_control_characters_do_not_break_the_file(tmp_path: Path):
    text = "".join(map(chr, range(1, 32))) + "\x7f\ufffe\u2028"
    path = write(tmp_path / "a.xlsx", [(1, text)])
    assert openpyxl.load_workbook(path)["To mend"].max_row == 2


def test_write_sheet_equal_tables_are_equal_files(tmp_path: Path):
    rows = [(1, "a"), (2, None), (3, 4.5)]
    for ending in ("csv", "xlsx"):
        first = write(tmp_path / f"a.{ending}", rows, notes=["n"]).read_bytes()
        assert write(tmp_path / f"b.{ending}", rows, notes=["n"]).read_bytes() == first


@pytest.mark.parametrize(
    ("name", "code"), [("a.pdf", "EXP-001"), ("a", "EXP-001"), ("no/a.csv", "EXP-002")]
)
def test_write_sheet_wrong_place_or_kind_is_refused(tmp_path: Path, name: str, code: str):
    with pytest.raises(ExportError) as caught:
        write(tmp_path / name, [])
    assert caught.value.code == code
    assert list(tmp_path.iterdir()) == []


def test_safe_text_leaves_plain_text_alone():
    assert [safe_text(text) for text in ("9.2", "", "a=b", "'=x")] == ["9.2", "", "a=b", "'=x"]
