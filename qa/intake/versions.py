"""Accepted rows against what is known: new exams, new versions, nothing new."""

from dataclasses import dataclass

import polars as pl

from qa.intake.earlier_content import earlier_row_hash
from qa.intake.pseudonym import KEY_DIGITS


@dataclass(frozen=True)
class Decided:
    """entering: rows that become a version, with version_no. unchanged: rows that add nothing."""

    entering: pl.DataFrame
    unchanged: pl.DataFrame


def join_known(rows: pl.DataFrame, latest: pl.DataFrame) -> pl.DataFrame:
    """Put the newest known version beside each row.

    Args:     rows: accepted rows, each exam once.
              latest: exam_key, version_no, row_hash, patient_key, exam_on, first_seq (the place of
              the version's file among all files) of known exams.
    Returns:  rows with known_version_no, known_row_hash, known_patient_key, known_exam_on,
              known_first_seq; null for a new exam. Where the known row_hash is of the earlier
              kind (earlier_content.py), so is the row's. Order kept.
    """
    known = latest.select(
        "exam_key",
        known_version_no="version_no",
        known_row_hash="row_hash",
        known_patient_key="patient_key",
        known_exam_on="exam_on",
        known_first_seq="first_seq",
    )
    joined = rows.join(known, on="exam_key", how="left", maintain_order="left")
    return _with_known_kind_of_hash(joined)


def _with_known_kind_of_hash(rows: pl.DataFrame) -> pl.DataFrame:
    is_earlier = rows["known_row_hash"].str.len_bytes() == KEY_DIGITS
    places = is_earlier.fill_null(value=False).arg_true()
    if not places.len():
        return rows
    hashes = rows["row_hash"].scatter(places, earlier_row_hash(rows[places]))
    return rows.with_columns(hashes)


def decide_versions(rows: pl.DataFrame) -> Decided:
    """Which rows enter.

    A row enters when its exam is new, or when its content differs from the newest version and its
    file did not arrive before that version's file: reading an old file again, after its profile
    was mended, never undoes a later correction.

    Args: rows: from join_known, and file_first_seq (null for a file that was never seen before).
    """
    is_same = pl.col("row_hash") == pl.col("known_row_hash")
    is_older = pl.col("file_first_seq") < pl.col("known_first_seq")
    changes_nothing = (is_same | is_older).fill_null(value=False)
    version_no = (pl.col("known_version_no").fill_null(0) + 1).cast(pl.Int32)
    decided = rows.with_columns(changes_nothing=changes_nothing, version_no=version_no)
    return Decided(
        entering=decided.filter(~pl.col("changes_nothing")).drop("changes_nothing"),
        unchanged=decided.filter("changes_nothing").drop("changes_nothing"),
    )
