"""All readers behind one function: what is written comes back, whatever the format."""

import json
import logging

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.model.errors import ProfileError, SourceFileError
from qa.model.file_problems import FILE_PROBLEMS, ROW_NO
from qa.model.words import FileFormat
from qa.readers.read import READERS, read_file
from tests.fuzz_corpus import seeds
from tests.fuzz_readers import run, try_one
from tests.unit.readers.writers import (
    profile,
    write_csv,
    write_jsonl,
    write_parquet,
    write_xlsx,
)

WRITERS = {
    FileFormat.CSV: write_csv,
    FileFormat.XLSX: write_xlsx,
    FileFormat.PARQUET: write_parquet,
    FileFormat.JSONL: write_jsonl,
}
TEXT = st.text(
    st.characters(
        codec="utf-8", exclude_categories=("Cc", "Cn", "Zl", "Zp"), include_characters="\n"
    ),
    max_size=12,
)
CELLS = st.one_of(
    st.none(), TEXT.filter(str.strip), st.sampled_from(["007", "9,2", "#N/A", "=1+1"])
)
TABLES = st.lists(st.tuples(st.sampled_from(["E-1", "E-2"]), CELLS, CELLS), min_size=1, max_size=6)


@pytest.mark.parametrize("file_format", WRITERS)
@settings(max_examples=20, deadline=None)
@given(rows=TABLES)
def test_read_file_what_is_written_is_read(file_format: FileFormat, rows: list):
    headings = ["a", "Prüfer", "note"]
    given = [("" if cell is None else cell for cell in row) for row in rows]
    content = WRITERS[file_format](headings, [tuple(row) for row in given])
    frame = read_file(content, name="f", profile=profile(file_format))
    expected = [(number, *row) for number, row in enumerate(rows, start=1)]
    names = [ROW_NO, *headings]
    columns = [name for name in names if name in frame.columns]
    assert frame.select(columns).rows() == [
        tuple(row[names.index(name)] for name in columns) for row in expected
    ]
    for missing in set(names) - set(columns):
        assert all(row[names.index(missing)] is None for row in expected)


def test_every_format_of_a_profile_has_its_reader():
    assert set(READERS) == set(FileFormat)
    with pytest.raises(ProfileError) as caught:
        read_file(b"x", name="f", profile=profile("ods"))
    assert caught.value.code == "PRF-003"


@pytest.mark.parametrize("file_format", FileFormat)
@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"a;b\n1;2\n",
        b"PK\x03\x04",
        b"\x1f\x8b",
        b"{}",
        b"\x00" * 300,
        b"\xff\xfe",
        b"%PDF-1.7",
    ],
)
def test_read_file_another_format_is_refused_in_one_line(file_format: str, content: bytes):
    if file_format == FileFormat.CSV and content.startswith(b"a;b"):
        return
    with pytest.raises(SourceFileError) as caught:
        read_file(content, name="f", profile=profile(file_format))
    assert caught.value.code in FILE_PROBLEMS
    assert "\n" not in caught.value.message


@pytest.mark.parametrize("one", seeds(), ids=lambda one: one[0])
def test_the_seeds_of_the_fuzz_run_are_good(one, tmp_path):
    assert try_one(one, tmp_path)["code"] == "read"


def test_a_short_fuzz_run_finds_nothing_and_counts(tmp_path, caplog):
    caplog.set_level(logging.WARNING)
    result = run(minutes=0.1, seed=3, keep=tmp_path)
    assert result["findings"] == []
    assert set(result["inputs"]) == set(FileFormat)
    assert json.dumps(result)
    assert not caplog.records


def test_the_fuzz_run_notices_an_exception_and_a_wrong_frame(tmp_path, monkeypatch):
    def broken(content, *, name, profile):
        raise ZeroDivisionError

    monkeypatch.setitem(READERS, "jsonl", broken)
    message = try_one(("jsonl", profile("jsonl"), b"{}"), tmp_path)
    assert message["code"] == "exception"
    assert "ZeroDivisionError" in message["finding"]["what"]
