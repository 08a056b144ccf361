"""Exams to look at: those of a month that were not reliable, the plainest first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from qa.model.published import Published
from qa.model.words import Outcome, Reason, RepeatKind
from qa.views import words
from qa.views.names import short_operator_name

ORDER = (Outcome.FAILED.value, Outcome.INCOMPLETE.value, Outcome.UNRELIABLE.value)

REASON_WORDS: dict[str, str] = {
    Reason.FASTING_BREACH.value: "fasting not kept",
    Reason.REST_BREACH.value: "rest not kept",
    Reason.POSITION_BREACH.value: "position not kept",
    Reason.NO_VALID_MEASUREMENT.value: "no valid measurement",
    Reason.TOO_FEW_VALID.value: "too few valid",
    Reason.SUCCESS_RATE.value: "success rate too low",
    Reason.SPREAD.value: "spread too wide",
    Reason.MISSING_FIGURE.value: "figure missing",
}
UNSIGNED = "device not signed off after an event"
"""Beside the reasons of an exam; it says nothing of the exam's own figures."""


@dataclass(frozen=True)
class ExamRow:
    """One exam as shown: how it was done, and where the site finds it. No patient, no values."""

    exam_key: str
    exam_on: date
    is_date_nominal: bool
    operator_id: str
    operator_name: str
    device_id: str
    technique: str
    probe: str
    outcome: str
    n_valid: int | None
    ratio_share: float | None
    is_repeat: bool
    reasons: tuple[str, ...]
    file_name: str
    row_no: int

    @property
    def why(self) -> str:
        return words.listed(self.reasons) or self.outcome

    @property
    def day_text(self) -> str:
        """The day, or its month where the date stands for one."""
        return f"{self.exam_on:%Y-%m}" if self.is_date_nominal else f"{self.exam_on}"

    @property
    def place_text(self) -> str:
        return f"{self.file_name}, row {self.row_no}"

    @property
    def ratio_text(self) -> str:
        return words.percent(self.ratio_share) if self.ratio_share is not None else "–"


def exams_to_look_at(published: Published, exams: pl.DataFrame) -> tuple[ExamRow, ...]:
    """Exams that were failed, incomplete or unreliable.

    Args: exams: rows of the published frame `exams`.
    Returns: failed first, then incomplete with fewest valid, then the widest spread.
    """
    is_try = pl.col("repeat_kind").eq_missing(RepeatKind.RESTART.value)
    chosen = exams.filter(pl.col("outcome").is_in(ORDER) & ~is_try)
    if chosen.is_empty():
        return ()
    ranks = {outcome: rank for rank, outcome in enumerate(ORDER)}
    ordered = chosen.with_columns(
        pl.col("outcome").replace_strict(ranks, return_dtype=pl.Int8).alias("_rank"),
        (-pl.col("ratio_share").fill_null(0)).alias("_spread"),
    ).sort("_rank", "_spread", "n_valid", "exam_on", "exam_key")
    return exam_rows(published, ordered)


def exam_rows(published: Published, exams: pl.DataFrame) -> tuple[ExamRow, ...]:
    """Rows of the published frame `exams` as shown, in the order given."""
    file_names = _file_names(published, exams["file_id"].unique().to_list())
    unsigned = exams_before_sign_off(published, exams)
    return tuple(
        _exam_row(published, row, file_names, is_unsigned=row["exam_key"] in unsigned)
        for row in exams.iter_rows(named=True)
    )


def exams_before_sign_off(published: Published, exams: pl.DataFrame) -> set[str]:
    """Keys of exams made between an event of their device (or of its probe) and its sign-off."""
    devices = exams["device_id"].drop_nulls().unique().to_list()
    events = published.frame("equipment_events").filter(pl.col("device_id").is_in(devices))
    if events.is_empty():
        return set()
    both = exams.select("exam_key", "device_id", "exam_on", used="probe").join(
        events, on="device_id"
    )
    inside = both.filter(
        (pl.col("probe") == "") | (pl.col("probe") == pl.col("used")),
        pl.col("event_on") <= pl.col("exam_on"),
        pl.col("signed_on").is_null() | (pl.col("exam_on") < pl.col("signed_on")),
    )
    return set(inside["exam_key"].to_list())


def exam_places(published: Published, exam_keys: Sequence[str]) -> dict[str, str]:
    """Exam → file and row in which the site finds it; no result.

    Example: {"3f…": "october.csv, row 41"}
    """
    exams = published.frame("exams", exam_key=list(exam_keys))
    names = _file_names(published, exams["file_id"].unique().to_list())
    rows = exams.select("exam_key", "file_id", "row_no").iter_rows()
    return {key: f"{names.get(file_id, 'a file')}, row {row_no}" for key, file_id, row_no in rows}


def _file_names(published: Published, file_ids: list[str]) -> dict[str, str]:
    files = published.frame("files", file_id=file_ids)
    return dict(zip(files["file_id"].to_list(), files["name"].to_list(), strict=True))


def _exam_row(
    published: Published, row: dict[str, Any], file_names: dict[str, str], *, is_unsigned: bool
) -> ExamRow:
    reasons = [REASON_WORDS.get(reason, reason) for reason in row["reasons"] or ()]
    return ExamRow(
        exam_key=row["exam_key"],
        exam_on=row["exam_on"],
        is_date_nominal=row["is_date_nominal"],
        operator_id=row["operator_id"],
        operator_name=short_operator_name(published.network, row["operator_id"]),
        device_id=row["device_id"],
        technique=row["technique"],
        probe=row["probe"],
        outcome=row["outcome"],
        n_valid=row["n_valid"],
        ratio_share=row["ratio_share"],
        is_repeat=row["is_repeat"],
        reasons=(*reasons, UNSIGNED) if is_unsigned else tuple(reasons),
        file_name=file_names.get(row["file_id"], ""),
        row_no=row["row_no"],
    )
