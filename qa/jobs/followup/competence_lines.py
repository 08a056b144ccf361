"""Operators' files in words, for the command line and for files."""

from collections.abc import Sequence

import polars as pl

from qa.followup.competence import OperatorFile, plain_file
from qa.followup.standing import Standing

STANDING_COLUMNS = pl.Schema(
    {
        "operator_id": pl.String,
        "stage": pl.String,
        "n_exams": pl.Int64,
        "n_year": pl.Int64,
        "is_current": pl.Boolean,
        "n_observed": pl.Int64,
        "refresher_due_on": pl.Date,
        "authorised": pl.String,
        "lacks": pl.String,
    }
)


def standing_line(one: Standing) -> str:
    """Example: 'op-1  provisional  64 exams, 40 in 12 months  lacks: no authorisation in force'"""
    exams = f"{one.n_exams:,} exams, {one.n_year:,} in 12 months"
    lacks = f"lacks: {'; '.join(one.lacks)}" if one.lacks else "nothing is lacking"
    return f"{one.operator_id}  {one.stage}  {exams}  {lacks}"


def file_lines(file: OperatorFile, standing: Standing) -> list[str]:
    """Every field that holds something, the numbered history, then where the operator stands."""
    lines = [*_field_lines(file), "History:"]
    lines += [
        f"{number:>4}  {at[:16]}  {by}  {kind}"
        for number, (at, by, kind) in enumerate(file.history, start=1)
    ]
    return [*lines, standing_line(standing)]


def kept_lines(file: OperatorFile) -> list[str]:
    """What stands in a file after a change."""
    return [f"Operator {file.operator_id}, entry {file.n_events}:", *_field_lines(file)]


def _field_lines(file: OperatorFile) -> list[str]:
    lines = []
    for name, words in plain_file(file).items():
        if words:
            first, *more = words.splitlines()
            lines += [f"{name + ':':<14}{first}", *(" " * 14 + line for line in more)]
    return lines


def standing_frame(standings: Sequence[Standing]) -> pl.DataFrame:
    """One row per operator; lists are joined with '; '."""
    rows = [
        {
            **{name: getattr(one, name) for name in STANDING_COLUMNS},
            "stage": one.stage.value,
            "authorised": "; ".join(one.authorised),
            "lacks": "; ".join(one.lacks),
        }
        for one in standings
    ]
    return pl.DataFrame(rows, schema=STANDING_COLUMNS)


def outside_lines(exams: pl.DataFrame) -> list[str]:
    """One line for each operator, technique, probe and reason, with days and number of exams."""
    keys = ["operator_id", "technique", "probe", "why"]
    found = exams.group_by(keys).agg(
        pl.len().alias("n"),
        pl.col("exam_on").min().alias("first"),
        pl.col("exam_on").max().alias("last"),
    )
    return [
        f"{row['operator_id']}  {row['technique']}, {row['probe']}  {row['n']:,} exams "
        f"{row['first']} to {row['last']}: {row['why']}"
        for row in found.sort(keys).iter_rows(named=True)
    ]
