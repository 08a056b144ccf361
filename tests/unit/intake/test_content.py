"""The hash of a row's content, against the same worked out by hand, and that of earlier rows."""

import hashlib
import struct
from datetime import date, datetime
from typing import Any

import numpy as np
import polars as pl
import pytest

from qa.intake.content import CONTENT, mix
from qa.intake.earlier_content import ADDED_LATER, content_hash_in_python, earlier_row_hash
from qa.intake.versions import decide_versions, join_known
from qa.model.definitions import ColumnMap
from qa.model.schemas import EXAMS
from tests.unit.intake.invented import checked, mapped, profile

PROVENANCE = {"exam_key", "version_no", "flags", "file_id", "row_no", "profile_id", "row_hash"}
WORD = 2**64
ROWS: dict[str, dict[str, Any]] = {
    "usual": {},
    "nothing measured": {"LSM": "", "LSM IQR": "", "ATT": "", "ATT IQR": "", "Ratio": ""},
    "no patient": {"Patient": ""},
    "zero": {"ATT IQR": "-0.0"},
    "no day": {"Date": "soon"},
}


def days(value: date) -> int:
    return (value - date(1970, 1, 1)).days


def start_of_hash(text: str) -> int:
    return int(hashlib.sha256(text.encode()).hexdigest()[:16], 16)


def mixed(word: int) -> int:
    """SplitMix64's finaliser in whole numbers, as the paper prints it (mix64variant13)."""
    word = (word ^ (word >> 30)) * 0xBF58476D1CE4E5B9 % WORD
    word = (word ^ (word >> 27)) * 0x94D049BB133111EB % WORD
    return word ^ (word >> 31)


def test_mix_is_that_of_splitmix64():
    """The first outputs for the seed 1234567, as printed for this generator; from memory."""
    golden = 0x9E3779B97F4A7C15
    states = np.array([(1234567 + n * golden) % WORD for n in (1, 2, 3)], dtype=np.uint64)
    expected = [6457827717110365317, 3203168211198807973, 9817491932198370423]
    assert mix(states).tolist() == expected


def by_hand(row: dict[str, Any]) -> str:
    def word(name: str, value: Any) -> int:
        if name == "patient_key":
            return int(value[:16], 16)
        if isinstance(value, str):
            return start_of_hash(value)
        if isinstance(value, float):
            return struct.unpack("<Q", struct.pack("<d", round(value * 1e6) + 0.0))[0]
        if isinstance(value, datetime):
            return round(value.timestamp() * 1e6) % WORD
        return (days(value) if isinstance(value, date) else int(value)) % WORD

    total = sum(
        mixed((word(name, row[name]) + start_of_hash(name)) % WORD)
        for name in (column.name for column in CONTENT)
        if row[name] is not None
    )
    return str(mixed(total % WORD))


@pytest.mark.parametrize("changes", ROWS.values(), ids=ROWS.keys())
def test_row_hash_is_that_worked_out_by_hand(changes: dict[str, str]):
    rows = mapped({}, changes)
    expected = [by_hand(row) for row in rows.iter_rows(named=True)]
    assert rows["row_hash"].to_list() == expected
    assert mapped(changes)["row_hash"].to_list() == expected[1:]


def test_row_hash_ignores_provenance_and_sees_every_content_column():
    base = mapped({})["row_hash"][0]
    assert mapped({"Exam": "E2"})["row_hash"][0] == base
    for change in ({"LSM": "9.3"}, {"Patient": "x"}, {"Probe": "L"}, {"Date": "05.03.2026 14:21"}):
        assert mapped(change)["row_hash"][0] != base
    assert mapped({"LSM": "9.20"})["row_hash"][0] == base
    assert set(EXAMS.names) - {c.name for c in CONTENT} == PROVENANCE | {"known_at"}


def test_row_hash_sees_which_column_a_value_stands_in():
    by = profile(ColumnMap("rest_minutes", ("Rest",)), ColumnMap("duration_s", ("Time",)))
    assert (
        mapped({"Rest": "9", "Time": ""}, by=by)["row_hash"][0]
        != mapped({"Rest": "", "Time": "9"}, by=by)["row_hash"][0]
    )


def earlier_by_hand(row: dict[str, Any]) -> str:
    """The hash as warehouses had it first."""

    def text(value: Any) -> str:
        if value is None:
            return "\x1e"
        if isinstance(value, bool):
            return str(int(value))
        if isinstance(value, float):
            return str(round(value * 1e6))
        if isinstance(value, datetime):
            return str(round(value.timestamp() * 1e6))
        return str(days(value) if isinstance(value, date) else value)

    columns = [column.name for column in CONTENT if column.name not in ADDED_LATER]
    whole = "\x1f".join(text(row[name]) for name in columns)
    return hashlib.sha256(whole.encode()).hexdigest()[:32]


def test_earlier_row_hash_does_not_depend_on_the_plugin(monkeypatch: pytest.MonkeyPatch):
    rows = mapped({})
    expected = [earlier_by_hand(rows.row(0, named=True))]
    assert earlier_row_hash(rows).to_list() == expected
    monkeypatch.setattr("qa.intake.earlier_content.HAS_PLUGIN", False)
    assert earlier_row_hash(rows).to_list() == expected


def test_content_hash_in_python_is_sha_256():
    expected = hashlib.sha256("ü".encode()).hexdigest()[:32]
    assert content_hash_in_python(pl.Series(["ü"])).to_list() == [expected]


def test_exams_keep_the_earlier_kind_of_hash():
    """Of two exams known by it, one comes again as it was and one corrected; a third is new."""
    before = checked({}, {"Exam": "E2"}).accepted
    latest = before.select(
        "exam_key", "patient_key", "exam_on", version_no=1, first_seq=1,
        row_hash=pl.Series([earlier_by_hand(row) for row in before.iter_rows(named=True)]),
    )  # fmt: skip
    now = checked({}, {"Exam": "E2", "LSM": "9.3"}, {"Exam": "E3"}).accepted
    now = now.with_columns(file_first_seq=pl.lit(None, pl.Int64))
    decided = decide_versions(join_known(now, latest))
    assert decided.unchanged["row_hash"].to_list() == latest["row_hash"].to_list()[:1]
    corrected, new = decided.entering.iter_rows(named=True)
    assert (corrected["version_no"], corrected["row_hash"]) == (2, earlier_by_hand(corrected))
    assert (new["version_no"], new["row_hash"]) == (1, by_hand(new))
