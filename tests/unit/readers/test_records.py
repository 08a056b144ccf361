"""Records of a text against the standard library's parser."""

import csv
import io

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
