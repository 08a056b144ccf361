"""JSON Lines → raw rows. Numbers and nesting as RFC 8259 defines them."""

import pytest

from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.jsonl import read_jsonl
from tests.unit.readers.writers import profile


def read(content: bytes, **changes) -> list[dict]:
    return read_jsonl(content, name="f", profile=profile("jsonl", **changes)).rows(named=True)


def test_read_jsonl_columns_are_the_union_of_keys_and_rows_are_lines():
    content = b'\xef\xbb\xbf{"a": "x"}\n\n{"b  c": "y", "a": null}\r\n{"a": ""}\n'
    assert read(content) == [
        {ROW_NO: 1, "a": "x", "b c": None},
        {ROW_NO: 3, "a": None, "b c": "y"},
    ]


@pytest.mark.parametrize(
    ("written", "decimal", "text"),
    [
        ("9.20", ".", "9.20"),
        ("9.20", ",", "9,20"),
        ('"9,2"', ",", "9,2"),
        ("12345678901234567890123", ".", "12345678901234567890123"),
        ("-0.5e3", ".", "-0.5e3"),
        ("true", ".", "true"),
        ("false", ".", "false"),
        ("null", ".", None),
        ('" x "', ".", " x "),
        ('"\\u00e9"', ".", "é"),
    ],
)
def test_read_jsonl_values_as_text(written: str, decimal: str, text: str | None):
    content = b'{"a": "1", "b": %s}' % written.encode()
    assert read(content, decimal=decimal)[0].get("b") == text


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "INT-001"),
        (b" \n ", "INT-001"),
        (b'{}\n{"a": null}', "INT-002"),
        (b'{"a": "\xff"}', "INT-004"),
        (b'{"a": 1, "a ": 2}', "INT-006"),
        (b'{"a": "\\u0000"}', "INT-007"),
        (b'{"a": "\\ud800"}', "INT-007"),
        (b'{"\\ud800": 1}', "INT-007"),
        (b'{"a": "' + b"x" * 2_000_000 + b'"}', "INT-022"),
        (b"\n".join(b'{"k%d": 1}' % n for n in range(1_001)), "INT-023"),
        (b'{"a": [1]}', "INT-029"),
        (b'{"a": {"b": 1}}', "INT-029"),
        (b"[1]", "INT-030"),
        (b'{"a": NaN}', "INT-030"),
        (b'{"a": 1', "INT-030"),
        (b"[" * 100_000, "INT-030"),
        (b'{"a":' * 100_000, "INT-030"),
        (b'{"a": 1, "a": 1}', "INT-031"),
        (b"a;b\n1;2\n", "INT-030"),
    ],
)
def test_read_jsonl_refuses(content: bytes, code: str):
    with pytest.raises(SourceFileError) as caught:
        read(content)
    assert caught.value.code == code


def test_read_jsonl_refuses_a_table_that_is_nearly_empty():
    wide = b"{" + b",".join(b'"k%d": 1' % n for n in range(1_000)) + b"}\n"
    with pytest.raises(SourceFileError) as caught:
        read(wide + b'{"k1": 1}\n' * 20_000)
    assert caught.value.code == "INT-023"


def test_read_jsonl_a_key_named_like_the_row_number_is_an_ordinary_column():
    assert read(b'{"#row_no": 7}') == [{ROW_NO: 1, "#row_no (of the file)": "7"}]


def test_read_jsonl_message_holds_place_but_no_value():
    with pytest.raises(SourceFileError) as caught:
        read(b'{"a": 1}\n{"name": "Invented", "b": [2]}')
    assert "line 2" in caught.value.message
    assert "Invented" not in caught.value.message
