"""Identifiers → keyed hashes (HMAC-SHA-256), the only trace of a patient that enters.

The patient's key is made from the patient's number alone, so the same person is the same in all
sites that share a numbering; the exam's key from the site and its exam number. Whoever holds the
key could test a guessed number, so the key stays with the network and is never shown.

Source: FIPS 198-1 / RFC 2104 (HMAC), FIPS 180-4 (SHA-256); cut to 128 bits, which RFC 2104 part 5
allows.
"""

import hmac

import polars as pl

try:
    import polars_hash  # noqa: F401  (its import adds the `chash` namespace)
except ImportError:  # the plugin has no build for every platform; the slow way is the same hash
    HAS_PLUGIN = False
else:
    HAS_PLUGIN = True

KEY_DIGITS = 32
SITE_SEPARATOR = "\x1f"


def add_keys(rows: pl.DataFrame, *, key: bytes) -> pl.DataFrame:
    """Add exam_key and patient_key.

    Args:
        rows: needs site_id, exam_id_word, patient_id_word (stripped; null where missing); an
            exam_key that is there already is kept.
        key: ASCII; never in any message.
    Returns: rows with both keys as 32 hexadecimal digits; null where the number or site is missing.
    """
    if "exam_key" not in rows.columns:
        rows = rows.with_columns(exam_key=exam_key_of(rows, key=key))
    return rows.with_columns(patient_key=keyed_hash(rows["patient_id_word"], key=key))


def exam_key_of(rows: pl.DataFrame, *, key: bytes) -> pl.Series:
    """exam_key of each row, as add_keys adds it; needs site_id and exam_id_word."""
    named = rows.select(pl.concat_str("site_id", "exam_id_word", separator=SITE_SEPARATOR))
    return keyed_hash(named.to_series(), key=key)


def keyed_hash(texts: pl.Series, *, key: bytes) -> pl.Series:
    """HMAC-SHA-256 of each text (UTF-8), the first 32 hexadecimal digits; null stays null."""
    if not HAS_PLUGIN:
        return keyed_hash_in_python(texts, key=key)
    try:
        hashes = pl.select(_hmac(pl.lit(texts), key)).to_series()
    except pl.exceptions.PolarsError:
        # An error of the plugin could show the expression, and the key in it.
        raise RuntimeError("the keyed hash could not be computed") from None
    return hashes


def _hmac(texts: pl.Expr, key: bytes) -> pl.Expr:
    # The type checker cannot know a namespace that a plugin adds.
    digest = texts.chash.hmac_sha256(key=key.decode("ascii"))  # type: ignore[attr-defined]
    return digest.str.slice(0, KEY_DIGITS)


def keyed_hash_in_python(texts: pl.Series, *, key: bytes) -> pl.Series:
    """The same as keyed_hash, without the plugin."""
    hashes = [
        None if text is None else hmac.digest(key, text.encode(), "sha256").hex()[:KEY_DIGITS]
        for text in texts
    ]
    return pl.Series(hashes, dtype=pl.String)


def patient_key_of(number: str, *, key: bytes) -> str:
    """The patient_key of one number, as add_keys makes it."""
    return keyed_hash_in_python(pl.Series([number], dtype=pl.String), key=key).item()


def hidden_key(patient_key: str, *, key: bytes) -> str:
    """A keyed hash of a patient_key that no exam carries: knows a person again, links to nothing.

    Whoever has the pseudonym key can test a number against it; whoever has only the warehouse
    cannot tell whose it is.
    """
    return patient_key_of(f"forgotten{SITE_SEPARATOR}{patient_key}", key=key)


def is_hidden(patient_keys: pl.Series, *, hidden: set[str], key: bytes) -> pl.Series:
    """True for rows of persons whose rows stay out; false where the patient cannot be read."""
    names = patient_keys.drop_nulls().unique()
    texts = "forgotten" + pl.Series([SITE_SEPARATOR]) + names
    found = names.filter(keyed_hash(texts, key=key).is_in(list(hidden)))
    return patient_keys.is_in(found.to_list()).fill_null(value=False)
