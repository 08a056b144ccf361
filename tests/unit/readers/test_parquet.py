"""Parquet → raw rows. Files are written by pyarrow, polars and DuckDB, none of them the reader."""

import io
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path

import duckdb
import polars as pl
import pyarrow as pa
import pytest

from qa.model.errors import SourceFileError
from qa.model.file_problems import ROW_NO
from qa.readers.parquet import read_parquet
from qa.readers.thrift import Compact, NoThrift
from tests.unit.readers.writers import parquet_of, profile, write_parquet

AT = datetime(2026, 3, 5, 14, 20)
REPEATED = pa.DictionaryArray.from_arrays(pa.array([0] * 100_000, pa.int32()), ["x" * 1_000_000])


# Found by tests/fuzz_readers.py: one byte of a page header is spoilt, and the decoder of polars 2.1
# asks for 2 exabytes and takes its process down.
ENDS_THE_DECODER = (
    "504152311506151015105c150615021506150615041500121c18010118010016022801018001001111000000"
    "03050200000003011504192c35001806736368656d611502001500250218026973001606191c191c26001c15"
    "001915061918026973150216061660166026083c1801011801001602280101180100111100191c1500150615"
    "02003c2906192602040000001660160626081660002820706172717565742d6370702d6172726f7720766572"
    "73696f6e2032362e302e31191c1c0000008d00000050415231"
)


def read(content: bytes, **changes) -> list[dict]:
    return read_parquet(content, name="f", profile=profile("parquet", **changes)).rows(named=True)


def column(*values, **kind) -> bytes:
    return parquet_of(pa.table({"a": pa.array([*values], **kind)}))


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        ("007", pa.string(), "007"),
        (" x ", pa.large_string(), " x "),
        ("é", pa.string_view(), "é"),
        (9.2, pa.float64(), "9.2"),
        (9.2, pa.float32(), "9.2"),
        (12.0, pa.float64(), "12"),
        (12, pa.uint8(), "12"),
        (-12, pa.int64(), "-12"),
        (Decimal("9.20"), pa.decimal128(6, 2), "9.20"),
        (True, pa.bool_(), "true"),
        (date(2026, 3, 5), pa.date32(), "2026-03-05"),
        (time(14, 20), pa.time32("s"), "14:20:00"),
        (AT, pa.timestamp("us"), "2026-03-05T14:20:00"),
        (AT.replace(microsecond=500_000), pa.timestamp("ms"), "2026-03-05T14:20:00.500"),
        (AT, pa.timestamp("us", tz="UTC"), "2026-03-05T14:20:00+00:00"),
        (AT, pa.timestamp("us", tz="Europe/Berlin"), "2026-03-05T14:20:00+00:00"),
    ],
)
def test_read_parquet_typed_values_as_text(value, kind, text: str):
    content = parquet_of(pa.table({"n": ["1", "2"], "a": pa.array([value, None], kind)}))
    assert read(content) == [{ROW_NO: 1, "n": "1", "a": text}, {ROW_NO: 2, "n": "2", "a": None}]


def test_read_parquet_numbers_take_the_decimal_sign_and_not_a_number_is_empty():
    content = parquet_of(pa.table({"a": [9.2, float("nan"), 1.0], "b": ["7.5", "x", ""]}))
    assert [tuple(row.values()) for row in read(content, decimal=",")] == [
        (1, "9,2", "7.5"),
        (2, None, "x"),
        (3, "1", None),
    ]


@pytest.mark.parametrize(
    "options",
    [
        {"compression": "zstd"},
        {"compression": "gzip", "version": "1.0"},
        {"compression": "none", "use_dictionary": False},
        {"data_page_version": "2.0"},
        {"row_group_size": 2},
        {"data_page_size": 16},
    ],
    ids=str,
)
def test_read_parquet_however_it_was_written(options: dict):
    rows = [(f"A-{n}", None if n == 3 else f"{n}.5") for n in range(7)]
    frame = read_parquet(
        write_parquet(["a", "b"], rows, **options), name="f", profile=profile("parquet")
    )
    assert frame.drop(ROW_NO).rows() == rows


def test_read_parquet_of_other_writers(tmp_path: Path):
    frame = pl.DataFrame({"a": ["x", "y"], "b": pl.Series(["u", "u"], dtype=pl.Categorical)})
    file = io.BytesIO()
    frame.write_parquet(file)
    assert [row["b"] for row in read(file.getvalue())] == ["u", "u"]
    path = tmp_path / "d.parquet"
    query = (
        "select i a, i::decimal(6,2) b, timestamptz '2026-03-05 14:20:00+00' c from range(2) t(i)"
    )
    duckdb.sql(query).write_parquet(str(path))
    assert [*read(path.read_bytes())[1].values()] == [2, "1", "1.00", "2026-03-05T14:20:00+00:00"]


def test_read_parquet_columns_that_the_profile_ignores_are_not_read():
    content = parquet_of(pa.table({"a": ["1"], "Name": [["Invented"]]}))
    assert read(content, ignore=("Name",)) == [{ROW_NO: 1, "a": "1", "Name": None}]


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "INT-001"),
        (column(type=pa.string()), "INT-002"),
        (column(None, None, type=pa.string()), "INT-002"),
        (parquet_of(pa.table({"a": ["1"], "a ": ["2"]})), "INT-006"),
        (column("x\0"), "INT-007"),
        (parquet_of(pa.table({"a": ["x" * 50_000_000]}), compression="zstd"), "INT-021"),
        (parquet_of(pa.table({"a": REPEATED})), "INT-023"),
        (parquet_of(pa.table({f"c{n}": [1] for n in range(1_001)})), "INT-023"),
        (parquet_of(pa.table({f"c{n}": pa.nulls(600_000) for n in range(40)})), "INT-023"),
        (b"a;b\n1;2\n", "INT-024"),
        (b"PAR1 damaged PAR1", "INT-025"),
        (column("x")[:-9], "INT-025"),
        (column(2**62, type=pa.timestamp("ms")), "INT-025"),
        (column(2**30, type=pa.date32()), "INT-025"),
        (column([1]), "INT-029"),
        (column(b"x"), "INT-029"),
        (column({"b": 1}), "INT-029"),
    ],
)
def test_read_parquet_refuses(content: bytes, code: str):
    with pytest.raises(SourceFileError) as caught:
        read(content)
    assert caught.value.code == code


def test_read_parquet_refuses_text_that_does_not_say_how_far_it_unpacks():
    table = pa.table({"a": ["xa", "xb"]})
    delta = {"use_dictionary": False, "column_encoding": {"a": "DELTA_BYTE_ARRAY"}}
    with pytest.raises(SourceFileError) as caught:
        read(parquet_of(table, **delta))
    assert caught.value.code == "INT-029"


def test_read_parquet_survives_a_file_that_ends_the_decoder(capfd):
    with pytest.raises(SourceFileError) as caught:
        read(bytes.fromhex(ENDS_THE_DECODER))
    assert caught.value.code == "INT-025"
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("data", "fields"),
    [
        # Fields by hand after the Thrift compact protocol: delta and kind, then the value.
        ("00", {}),
        ("1504 2502 00", {1: 2, 3: 1}),
        ("1503 00", {1: -2}),
        ("11 12 00", {1: True, 2: False}),
        ("18 02 6869 00", {1: b"hi"}),
        ("19 25 0204 00", {1: [1, 2]}),
        ("1c 1502 00 00", {1: {1: 1}}),
        ("05 20 02 00", {16: 1}),
    ],
)
def test_compact_struct_as_the_protocol_says(data: str, fields: dict):
    assert Compact(bytes.fromhex(data), 0).struct() == fields


@pytest.mark.parametrize("data", ["", "15", "15ff", "18ff01", "1d00", "19f5ffffff7f", "1c" * 100])
def test_compact_struct_refuses_what_is_none(data: str):
    with pytest.raises(NoThrift):
        Compact(bytes.fromhex(data), 0).struct()
