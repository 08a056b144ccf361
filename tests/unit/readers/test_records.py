"""Records of a text against the standard library's parser."""

import csv
import io
from unittest.mock import patch

from hypothesis import given, settings
from hypothesis import strategies as st

from qa.readers.records import find_records

CELLS = st.text(st.sampled_from('ab ;"\n'), max_size=4)
TABLES = st.lists(st.lists(CELLS, min_size=1, max_size=4), min_size=1, max_size=8)


@settings(deadline=None)
@given(table=TABLES)
def test_find_records_counts_fields_as_the_standard_library(table):
    """Outside check: Python's csv module as the parser."""
    written = io.StringIO()
    csv.writer(written, delimiter=";", lineterminator="\n").writerows(table)
    text = written.getvalue()
    records = find_records(text.encode(), delimiter=";")
    assert records is not None
    parsed = list(csv.reader(io.StringIO(text, newline=""), delimiter=";"))
    assert records.n_fields.tolist() == [max(len(row), 1) for row in parsed]


def test_find_records_open_quote_is_none():
    assert find_records(b'a;"b\nc;d\n', delimiter=";") is None


def test_find_records_last_line_needs_no_end():
    records = find_records(b"a;b\nc;d", delimiter=";")
    assert records is not None
    assert (records.starts.tolist(), records.ends.tolist()) == ([0, 4], [3, 7])


@settings(deadline=None)
@given(text=st.text(st.sampled_from('ab ;"\n'), max_size=60), piece=st.sampled_from([8, 16, 64]))
def test_find_records_is_the_same_in_pieces_of_any_size(text: str, piece: int):
    """Against a walk from sign to sign."""
    whole = text + ("" if text.endswith("\n") else "\n")
    ends, n_fields, is_open = [], [1], False
    for place, sign in enumerate(whole):
        is_open ^= sign == '"'
        n_fields[-1] += sign == ";" and not is_open
        if sign == "\n" and not is_open:
            ends.append(place)
            n_fields.append(1)
    with patch("qa.readers.records._PIECE", piece):
        records = find_records(text.encode(), delimiter=";")
    if is_open:
        assert records is None
    else:
        assert records is not None
        assert (records.ends.tolist(), records.n_fields.tolist()) == (ends, n_fields[:-1])
