"""Delimited text → raw rows; the faulty files as such stand in tests/bad_exports."""

import csv
import io

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from qa.model.definitions import ColumnMap, Profile
from qa.model.errors import ProfileError, SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.csv import read_csv


def profile(**changes) -> Profile:
    columns = (ColumnMap("exam_id", ("a",)), ColumnMap("probe", ("b",)))
    base = {
        "id": "p", "version": 1, "title": "t", "format": "csv", "delimiter": ";",
        "encoding": "utf-8", "decimal": ".", "header_row": 1, "missing": (), "columns": columns,
    }  # fmt: skip
    return Profile(**(base | changes))


def read(content: bytes, **changes) -> list[tuple]:
    return read_csv(content, name="f.csv", profile=profile(**changes)).rows()


@pytest.mark.parametrize(
    "content",
    [
        b"a;b\n1;2\n3;4\n",
        b"a;b\n1;2\n3;4",
        b"a;b\r\n1;2\r\n3;4\r\n",
        b"a;b\r1;2\r3;4\r",
        b"\xef\xbb\xbfa;b\n1;2\n3;4\n",
        b' a ;"b"\n"1";2\n3;"4"\n',
    ],
)
def test_read_csv_line_ends_marks_and_quotes_do_not_matter(content: bytes):
    frame = read_csv(content, name="f.csv", profile=profile())
    assert frame.columns == [ROW_NO, "a", "b"]
    assert frame.rows() == [(1, "1", "2"), (2, "3", "4")]


def test_read_csv_empty_rows_are_left_out_and_counted():
    assert read(b'a;b\n\n1;2\n;\n ; \n"";\n3;4\n\n\n') == [(2, "1", "2"), (6, "3", "4")]


def test_read_csv_empty_fields_are_null_and_text_stays_as_it_is():
    assert read(b"a;b\n;007\n 1 ;\n") == [(1, None, "007"), (2, " 1 ", None)]


def test_read_csv_quoted_fields_hold_separators_lines_and_marks():
    assert read(b'a;b\n"1;\n2";"say ""x"""\n') == [(1, "1;\n2", 'say "x"')]


@pytest.mark.parametrize(
    ("encoding", "stored"), [("cp1252", "cp1252"), ("utf-16", "utf-16"), ("latin-1", "latin-1")]
)
def test_read_csv_reads_the_encoding_of_the_profile(encoding: str, stored: str):
    assert read("a;b\nPrüfer;é\n".encode(stored), encoding=encoding) == [(1, "Prüfer", "é")]


def test_read_csv_utf8_where_the_profile_states_another_is_refused():
    """Otherwise "ü" would quietly become "Ã¼"."""
    with pytest.raises(SourceFileError, match="UTF-8") as caught:
        read("a;b\nPrüfer;1\n".encode(), encoding="cp1252")
    assert caught.value.code == "INT-004"


def test_read_csv_unknown_encoding_is_a_fault_of_the_profile():
    with pytest.raises(ProfileError, match="'utf-99' is no encoding") as caught:
        read(b"a;b\n1;2\n", encoding="utf-99")
    assert caught.value.code == "PRF-003"


def test_read_csv_lines_above_the_headings_are_left_out():
    content = b"Report of one month\nprinted; by; hand\na;b\n1;2\n"
    assert read(content, header_row=3) == [(1, "1", "2")]


def test_read_csv_headings_below_the_end_is_no_rows():
    with pytest.raises(SourceFileError) as caught:
        read(b"a;b\n1;2\n", header_row=9)
    assert caught.value.code == "INT-002"


def test_read_csv_columns_without_heading_are_named_or_fall_away():
    assert read_csv(b"a;b;;\n1;2;;x\n", name="f", profile=profile()).columns == [
        ROW_NO, "a", "b", "(column 4)",
    ]  # fmt: skip


@pytest.mark.parametrize("n_bad", [1, 5, 6])
def test_read_csv_uneven_rows_are_counted_and_the_first_named(n_bad: int):
    content = b"a;b\n1;2\n" + b"1;2;3\n" * n_bad
    with pytest.raises(SourceFileError) as caught:
        read(content)
    assert "row 2 has 3" in caught.value.what
    assert ("and 1 more rows" in caught.value.what) == (n_bad == 6)


def test_read_csv_a_row_of_data_in_place_of_headings_is_not_told():
    """Names could stand there; the check of the headings refuses the file without showing them."""
    frame = read_csv(b"Quill;Quill\n1;2\n", name="f", profile=profile())
    assert frame.columns == [ROW_NO, "(column 1)", "(column 2)"]


def test_read_csv_damage_in_the_middle_of_quotes_is_refused():
    for content in (b'a;b\n"1;2\n', b'a;b\n1;5" x\n3;"y"\n'):
        with pytest.raises(SourceFileError) as caught:
            read(content)
        assert caught.value.code == "INT-009"


FIELD = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1)
FULL_ROW = st.tuples(FIELD, FIELD).filter(lambda row: any(field.strip() for field in row))
ROWS = st.lists(FULL_ROW, min_size=1, max_size=20)


@example(rows=[(",", ",")], delimiter=",")
@example(rows=[('"', '"')], delimiter=";")
@settings(deadline=None)
@given(rows=ROWS, delimiter=st.sampled_from(",;\t|"))
def test_read_csv_gives_back_what_the_standard_library_wrote(rows, delimiter):
    """Outside check: Python's csv module as the writer."""
    written = io.StringIO()
    writer = csv.writer(written, delimiter=delimiter)
    writer.writerow(("a", "b"))
    writer.writerows(rows)
    expected = [(number, *row) for number, row in enumerate(rows, start=1)]
    assert read(written.getvalue().encode(), delimiter=delimiter) == expected
