"""Keyed hashes against the standard library and a published vector."""

import hmac
from hashlib import sha256

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.intake import pseudonym
from qa.intake.pseudonym import add_keys, keyed_hash, keyed_hash_in_python
from tests.unit.intake.invented import KEY, mapped

TEXTS = st.lists(st.none() | st.text(), min_size=1, max_size=20)


@settings(deadline=None)
@given(texts=TEXTS)
def test_keyed_hash_equals_hmac_of_the_standard_library(texts: list[str | None]):
    expected = [
        None if text is None else hmac.new(KEY, text.encode(), sha256).hexdigest()[:32]
        for text in texts
    ]
    series = pl.Series(texts, dtype=pl.String)
    assert keyed_hash(series, key=KEY).to_list() == expected
    assert keyed_hash_in_python(series, key=KEY).to_list() == expected


@pytest.mark.parametrize("hashed", [keyed_hash, keyed_hash_in_python])
def test_keyed_hash_rfc_4231_test_case_2(hashed):
    """RFC 4231, section 4.3: key "Jefe", HMAC-SHA-256, first 128 bits."""
    found = hashed(pl.Series(["what do ya want for nothing?"]), key=b"Jefe")
    assert found.to_list() == ["5bdcc146bf60754e6a042426089575c7"]


def test_keyed_hash_without_the_plugin_is_the_same(monkeypatch: pytest.MonkeyPatch):
    texts = pl.Series(["a", None, "ü"])
    with_plugin = keyed_hash(texts, key=KEY)
    monkeypatch.setattr(pseudonym, "HAS_PLUGIN", False)
    assert keyed_hash(texts, key=KEY).equals(with_plugin)


def test_keyed_hash_failure_does_not_show_the_key():
    with pytest.raises(RuntimeError) as caught:
        keyed_hash(pl.Series([1, 2]), key=KEY)
    assert KEY.decode() not in str(caught.value)
    assert caught.value.__suppress_context__


def keys(*rows: tuple[str | None, str | None, str | None]) -> pl.DataFrame:
    names = ["site_id", "exam_id_word", "patient_id_word"]
    frame = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String), orient="row")
    return add_keys(frame, key=KEY).select("exam_key", "patient_key")


def test_add_keys_patient_is_the_same_in_all_sites_and_exam_is_not():
    frame = keys(("east", "1", "p"), ("west", "1", "p"), ("east", "1", "q"))
    assert frame["patient_key"].n_unique() == 2
    assert frame["patient_key"][0] == frame["patient_key"][1]
    assert frame["exam_key"][0] == frame["exam_key"][2] != frame["exam_key"][1]


def test_add_keys_missing_part_gives_no_key():
    assert keys((None, "1", "p"), ("east", None, None)).rows() == [
        (None, keys(("east", "1", "p"))["patient_key"][0]),
        (None, None),
    ]


def test_add_keys_blanks_around_a_number_do_not_matter():
    one, two = mapped({"Patient": "90210071"}), mapped({"Patient": "  90210071 "})
    assert one["patient_key"].equals(two["patient_key"])
