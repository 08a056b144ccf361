"""Texts read together are what each is when it is read alone."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.model.definitions import ColumnMap, Profile
from qa.model.errors import UserError
from qa.model.file_problems import ROW_NO
from qa.readers.csv_together import MAX_BYTES, read_together
from qa.readers.text import read_text
from tests.unit.readers.test_csv import profile as profile_of

FINE = b"Exam;Patient\nE1;4711\nE2;4712\n"
OTHERS = {
    "no line end": b"Exam;Patient\nE3;4713",
    "carriage returns": b"Exam;Patient\r\nE4;4714\r\n",
    "byte-order mark": b"\xef\xbb\xbfExam;Patient\nE5;4715\n",
    "blank lines": b"Exam;Patient\n\nE6;4716\n ; \n\nE7;4717\n",
    "quoted": b'Exam;Patient\n"E;8";"a ""b""\nc"\n"E9";4719\n',
    "not ASCII": "Exam;Patient\nE10;M\u00fcller\n".encode(),
    "empty fields": b"Exam;Patient\nE11;\n;4712\n",
}
ODD = {
    "empty": b"",
    "no rows": b"Exam;Patient\n",
    "blank rows": b"Exam;Patient\n;\n\n",
    "short row": b"Exam;Patient\nE1;4711\nE2\n",
    "long row": b"Exam;Patient\nE1;4711;x\n",
    "open quote": b'Exam;Patient\nE1;"4711\n',
    "not UTF-8": b"Exam;Patient\nE1;\xff\n",
    "NUL": b"Exam;Patient\nE1;\0\n",
    "gzip": b"\x1f\x8b\x08\x00",
    "too large": b"Exam;Patient\n" + b"E1;4711\n" * (MAX_BYTES // 8),
}


def profile(**changes) -> Profile:
    columns = (ColumnMap("exam_id", ("Exam",)), ColumnMap("patient_id", ("Patient",)))
    return profile_of(columns=columns, **changes)


def rows_of(contents: list[bytes], by: Profile) -> dict[int, pl.DataFrame]:
    """Which text was read → its rows."""
    found = {}
    for one in read_together(contents, profile=by):
        start = 0
        for place, n_rows in zip(one.places, one.n_rows, strict=True):
            found[place] = one.frame[start : start + n_rows]
            start += n_rows
        assert start == one.frame.height
    return found


def alone(content: bytes, by: Profile) -> pl.DataFrame | None:
    try:
        return read_text(content, name="f.csv", profile=by)
    except UserError:
        return None


@pytest.mark.parametrize("content", OTHERS.values(), ids=OTHERS.keys())
def test_read_together_is_as_alone(content: bytes):
    contents = [FINE, content, FINE]
    found = rows_of(contents, profile())
    assert sorted(found) == [0, 1, 2]
    for place, rows in found.items():
        expected = alone(contents[place], profile())
        assert expected is not None
        assert rows.equals(expected)


def test_read_together_in_lines_below_the_first():
    by = profile(header_row=2)
    contents = [b"Clinic East\n" + FINE, b"Clinic West;;\n" + FINE]
    assert rows_of(contents, by)[1].equals(read_text(contents[1], name="f", profile=by))


@pytest.mark.parametrize("content", ODD.values(), ids=ODD.keys())
def test_what_is_odd_is_left_to_be_read_alone(content: bytes):
    found = rows_of([FINE, content, FINE], profile())
    assert 1 not in found
    assert all(rows.equals(alone(FINE, profile())) for rows in found.values())


def test_other_headings_are_not_mixed():
    other = b"Patient;Exam\n4711;E1\n"
    contents = [FINE, other, FINE, other, b"Exam;Patient;\nE1;4711;\n"]
    found = read_together(contents, profile=profile())
    assert [one.places for one in found] == [[0, 2], [1, 3]]
    assert [one.frame.columns for one in found] == [
        [ROW_NO, "Exam", "Patient"], [ROW_NO, "Patient", "Exam"],
    ]  # fmt: skip


@settings(deadline=None)
@given(st.lists(st.text(alphabet='E1;"\n\r \t\u00e4', max_size=24), min_size=2, max_size=5))
def test_any_texts_are_read_as_alone_or_left(bodies: list[str]):
    contents = [f"Exam;Patient\n{body}".encode() for body in bodies]
    for place, rows in rows_of(contents, profile()).items():
        expected = alone(contents[place], profile())
        assert expected is not None
        assert rows.equals(expected)
