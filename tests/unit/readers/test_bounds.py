"""Limits of what a file may ask for; the limits themselves are this product's own choice."""

import gzip

import pytest

from qa.model.errors import SourceFileError
from qa.readers import bounds
from qa.readers.bounds import check_lines, check_size, check_values, unpack_gzip
from qa.readers.text import read_text
from tests.unit.readers.writers import profile

HUNDRED_MB = 100 * bounds.MIB


def code_of(act, *args, **options) -> str:
    with pytest.raises(SourceFileError) as caught:
        act(*args, **options)
    return caught.value.code


@pytest.mark.parametrize("file_format", sorted(bounds.MAX_FILE_BYTES))
def test_check_size_on_and_above_the_limit(file_format: str):
    limit = bounds.MAX_FILE_BYTES[file_format]
    check_size(limit, name="f", file_format=file_format)
    assert code_of(check_size, limit + 1, name="f", file_format=file_format) == "INT-020"


@pytest.mark.parametrize("line_end", [b"\n", b"\r"])
def test_check_lines_on_and_above_the_limit(line_end: bytes):
    longest = b"x" * (bounds.MAX_LINE_BYTES - 1) + line_end
    check_lines(longest * 3, name="f")
    assert code_of(check_lines, longest + b"x" + longest, name="f") == "INT-022"


def test_unpack_gzip_joins_members_and_leaves_plain_text():
    two = gzip.compress(b"a\n") + gzip.compress(b"b\n")
    assert unpack_gzip(two, name="f", file_format="csv") == b"a\nb\n"
    assert unpack_gzip(b"a\n", name="f", file_format="csv") == b"a\n"


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (gzip.compress(b"a;b\n1;2\n" * 1000)[:-9], "INT-025"),
        (gzip.compress(b"a;b\n1;2\n") + b"tail", "INT-025"),
        (b"\x1f\x8b\x08\x00damaged", "INT-025"),
        (gzip.compress(b"\0" * HUNDRED_MB), "INT-021"),
        (gzip.compress(gzip.compress(b"a;b\n1;2\n")), "INT-003"),
    ],
    ids=["cut off", "tail", "damaged", "bomb", "packed twice"],
)
def test_read_text_refuses_packed_files_that_are_wrong(content: bytes, code: str):
    assert code_of(read_text, content, name="f", profile=profile()) == code


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"x" * 3 * bounds.MIB, "INT-022"),
        (b";".join(b"c%d" % n for n in range(1_000_000)) + b"\n", "INT-022"),
        (b";".join(b"c%d" % n for n in range(1_001)) + b"\n1\n", "INT-023"),
        (b"a\n" * (bounds.MAX_ROWS + 1), "INT-023"),
        (b'"' + b"x" * 200_000 + b'";b\n1;2\n', "INT-022"),
    ],
    ids=["one line", "million columns", "too many columns", "too many rows", "long heading"],
)
def test_read_text_refuses_what_asks_for_too_much(content: bytes, code: str):
    assert code_of(read_text, content, name="f", profile=profile()) == code


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [
        ("utf-8", b""),
        ("utf-8", b"\xef\xbb\xbf"),
        ("utf-16", b""),
        ("utf-16-le", b""),
        ("cp1252", b""),
    ],
)
@pytest.mark.parametrize("delimiter", [";", ",", "\t", "|"])
@pytest.mark.parametrize("pack", [bytes, gzip.compress], ids=["plain", "gzip"])
def test_read_text_in_every_encoding_separator_and_packing(encoding, mark, delimiter, pack):
    text = f"a{delimiter}Prüfer\n1{delimiter}Ä 7\n"
    chosen = profile(delimiter=delimiter, encoding=encoding)
    frame = read_text(pack(mark + text.encode(encoding)), name="f", profile=chosen)
    assert frame.rows(named=True) == [{"#row_no": 1, "a": "1", "Prüfer": "Ä 7"}]


def test_check_values_refuses_a_document_of_brackets():
    check_values(b'{"resourceType": "Bundle"}' * 1000, name="f")
    assert code_of(check_values, b"[]," * 200_000, name="f") == "INT-023"
