"""Workbooks → raw rows. They are written by openpyxl; ECMA-376 says what cells mean."""

import io
import zipfile
from datetime import date, datetime, time, timedelta

import openpyxl
import pytest

from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.workbook import NOT_CALCULATED, read_workbook
from qa.readers.workbook_values import CellKind, kind_of_format, number_text
from tests.unit.readers.writers import profile, saved, write_xlsx

TOP = '<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>a</t></is></c></row>'
END = "</sheetData></worksheet>"
SHEET = "xl/worksheets/sheet1.xml"
RELATIONS = (
    '<Relationships><Relationship Id="rId1" Type="t/worksheet" Target="worksheets/sheet1.xml"/>'
    '<Relationship Id="rId2" Type="t/sharedStrings" Target="/xl/texts.xml"/></Relationships>'
)


def read(content: bytes, **changes) -> list[dict]:
    return read_workbook(content, name="f", profile=profile("xlsx", **changes)).rows(named=True)


def refused(content: bytes, **changes) -> SourceFileError:
    with pytest.raises(SourceFileError) as caught:
        read(content, **changes)
    return caught.value


def with_parts(content: bytes | None = None, **parts: str | bytes | None) -> bytes:
    """A workbook with some parts put in another's place; None takes a part out."""
    archive = zipfile.ZipFile(io.BytesIO(content or write_xlsx(["a"], [["1"]])))
    held = {info.filename: archive.read(info) for info in archive.infolist()}
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in (held | parts).items():
            if data is not None:
                packed.writestr(name, data)
    return file.getvalue()


def sheet(rows: str) -> bytes:
    return with_parts(**{SHEET: TOP + rows + END})


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("007", "007"),
        (" x ", " x "),
        (9.2, "9.2"),
        (0.1 + 0.2, "0.3"),
        (12.0, "12"),
        (100000, "100000"),
        (1e-7, "0.0000001"),
        (-1.25, "-1.25"),
        (True, "true"),
        (False, "false"),
        (datetime(2026, 3, 5, 14, 20), "2026-03-05T14:20:00"),
        (datetime(2026, 3, 5, 14, 20, 33, 500000), "2026-03-05T14:20:33.5"),
        (datetime(2026, 3, 5), "2026-03-05T00:00:00"),
        (date(2026, 3, 5), "2026-03-05"),
        (time(14, 20), "14:20:00"),
        (timedelta(hours=30, minutes=5), "30:05:00"),
        ("#N/A", "#N/A"),
        ("#DIV/0!", "#DIV/0!"),
        (None, None),
    ],
)
def test_read_workbook_typed_cells_as_text(value, text: str | None):
    assert read(write_xlsx(["a", "b"], [["1", value]])) == [{ROW_NO: 1, "a": "1", "b": text}]


def test_read_workbook_numbers_take_the_decimal_sign_of_the_profile_and_dates_do_not():
    content = write_xlsx(["a", "b"], [["7,5", 9.2], [date(2026, 3, 5), 12]])
    rows = [tuple(row.values()) for row in read(content, decimal=",")]
    assert rows == [(1, "7,5", "9,2"), (2, "2026-03-05", "12")]


def test_read_workbook_headings_not_in_row_1_and_empty_rows_counted():
    content = write_xlsx(
        ["a", "b"], [["1", "x"], [None, None], [" ", None], ["2", None]], top=4, left=3
    )
    assert read(content, header_row=4) == [
        {ROW_NO: 1, "a": "1", "b": "x"},
        {ROW_NO: 4, "a": "2", "b": None},
    ]


def test_read_workbook_a_column_without_heading_is_named_by_its_place():
    assert read(write_xlsx(["a", None, None], [["1", None, "x"]])) == [
        {ROW_NO: 1, "a": "1", "(column 3)": "x"}
    ]


def test_read_workbook_takes_the_sheet_that_the_profile_names():
    book = openpyxl.Workbook()
    book.active.append(["not", "this"])
    chosen = book.create_sheet("Exams")
    chosen.append(["a"])
    chosen.append(["1"])
    assert read(saved(book), sheet="Exams") == [{ROW_NO: 1, "a": "1"}]
    assert refused(saved(book)).code == "INT-027"
    assert refused(saved(book), sheet="Other").code == "INT-027"


def test_read_workbook_of_a_formula_the_stored_result_counts():
    cells = '<c r="A2"><f>1+1</f><v>2</v></c><c r="B2" t="str"><f>A2</f><v>x</v></c>'
    content = sheet(f'<row r="2">{cells}<c r="C2"><f>[1]S!A1</f></c></row>')
    assert [*read(content)[0].values()] == [1, "2", "x", NOT_CALCULATED]


def test_read_workbook_texts_in_runs_without_reading_aids_and_with_escapes():
    runs = "<si><r><t>ab</t></r><r><t>c</t></r><rPh><t>no</t></rPh></si>"
    texts = f"<sst>{runs}<si><t>x_x000A_y</t></si></sst>"
    row = '<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c></row>'
    content = with_parts(
        **{SHEET: TOP + row + END, "xl/texts.xml": texts, "xl/_rels/workbook.xml.rels": RELATIONS}
    )
    assert [*read(content)[0].values()] == [1, "abc", "x\ny"]


def test_read_workbook_days_count_from_1904_where_the_workbook_says_so():
    book = openpyxl.Workbook()
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    book.active.append(["a"])
    book.active.append([date(2026, 3, 5)])
    assert read(saved(book)) == [{ROW_NO: 1, "a": "2026-03-05"}]


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "INT-001"),
        (write_xlsx(["a"], []), "INT-002"),
        (write_xlsx(["a", "a "], [["1", "2"]]), "INT-006"),
        (sheet('<row r="2"><c r="A2" t="str"><v>_x0000_</v></c></row>'), "INT-007"),
        (sheet('<row r="2"><c r="XFD2"><v>1</v></c></row>'), "INT-023"),
        (b"a;b\n1;2\n", "INT-024"),
        (with_parts(**{"_rels/.rels": None}), "INT-024"),
        (b"PK\x03\x04 damaged", "INT-025"),
        (with_parts(**{SHEET: None}), "INT-025"),
        (sheet('<row r="9999999"><c><v>1</v></c></row>'), "INT-025"),
        (sheet('<row r="3"/><row r="2"/>'), "INT-025"),
        (sheet('<row r="2"><c r="B2"/><c r="A2"/></row>'), "INT-025"),
        (sheet('<row r="2"><c r="A2" t="s"><v>77</v></c></row>'), "INT-025"),
        (sheet('<row r="2"><c r="A2"><v>1_0</v></c></row>'), "INT-025"),
        (sheet("<x>" * 1_000), "INT-025"),
        (sheet('<row r="2">' + "<c/>" * 1_000_000 + "</row>"), "INT-025"),
        (sheet(f'<row r="2"><c><v>{"1" * 3_000_000}</v></c></row>'), "INT-025"),
        (b"\xd0\xcf\x11\xe0" + bytes(600), "INT-026"),
        (with_parts(**{SHEET: "<!DOCTYPE a [<!ENTITY b 'c'>]>" + TOP + END}), "INT-028"),
        (with_parts(**{SHEET: '<!DOCTYPE a SYSTEM "file:///etc/hosts">' + TOP + END}), "INT-028"),
        (with_parts(**{SHEET: b" " * 50_000_000}), "INT-021"),
        (write_xlsx(["a"], [[12345678901234567890]]), "INT-039"),
    ],
)
def test_read_workbook_refuses(content: bytes, code: str):
    assert refused(content).code == code


def test_read_workbook_one_text_in_many_cells_stays_within_its_bound():
    row = '<row><c t="s"><v>0</v></c></row>'
    texts = f"<sst><si><t>{'x' * 500_000}</t></si></sst>"
    parts = {SHEET: TOP + row * 1_000 + END, "xl/texts.xml": texts}
    content = with_parts(**parts, **{"xl/_rels/workbook.xml.rels": RELATIONS})
    assert len(content) < 20_000
    assert refused(content).code == "INT-023"


def test_read_workbook_a_size_that_lies_is_found_out():
    """The directory says 10 bytes; a reader that believes the packed data would unpack them all."""
    content = bytearray(with_parts(**{SHEET: TOP + "<row/>" * 10_000 + END}))
    entry = content.rindex(SHEET.encode()) - 46
    content[entry + 24 : entry + 28] = (10).to_bytes(4, "little")
    assert refused(bytes(content)).code == "INT-025"


@pytest.mark.parametrize(
    ("number", "code", "kind"),
    [
        (14, None, CellKind.DATE),
        (20, None, CellKind.TIME),
        (22, None, CellKind.BOTH),
        (46, None, CellKind.ELAPSED),
        (9, None, CellKind.NUMBER),
        (164, "dd/mm/yyyy hh:mm", CellKind.BOTH),
        (164, "[$-409]mmm d, yyyy;@", CellKind.DATE),
        (164, "mmmm", CellKind.DATE),
        (164, "mm:ss.0", CellKind.TIME),
        (164, "[hh]:mm", CellKind.ELAPSED),
        (164, 'General" days"', CellKind.NUMBER),
        (164, '0.0" months"', CellKind.NUMBER),
        (164, r"0.0\d", CellKind.NUMBER),
        (164, "[Red]0.00", CellKind.NUMBER),
        (164, "0.00E+00", CellKind.NUMBER),
        (164, "", CellKind.NUMBER),
    ],
)
def test_kind_of_format_as_ecma_376_defines_number_formats(number, code, kind):
    assert kind_of_format(number, code) == kind


@pytest.mark.parametrize(
    ("raw", "is_1904", "text"),
    [
        # Days of the two date systems: ECMA-376 part 1, 18.17.4.1.
        ("1", False, "1900-01-01"),
        ("59", False, "1900-02-28"),
        ("60", False, "60"),
        ("61", False, "1900-03-01"),
        ("0", True, "1904-01-01"),
        ("2958465", False, "9999-12-31"),
        ("2958466", False, "2958466"),
        ("-1", False, "-1"),
    ],
)
def test_number_text_days_of_both_date_systems(raw: str, is_1904: bool, text: str):
    assert number_text(raw, CellKind.DATE, is_1904=is_1904, decimal=".") == text
