"""Second readings in words, and the sheet that a reader fills in."""

import csv
from collections.abc import Sequence
from pathlib import Path

import polars as pl

from qa.followup.agree import Agreement, agreement_lines
from qa.followup.readings import Sample, SampledExam
from qa.jobs.followup.second_reading import ReadForm, SecondReadingDesk
from qa.model.competence_words import READ_OUTCOMES
from qa.model.errors import FollowupError

SHEET_COLUMNS = ("code", "exam", "outcome", "stiffness_kpa", "attenuation_db_m", "words")
MAX_SHEET_BYTES = 1_000_000


def sample_line(sample: Sample) -> str:
    """Example: 'op-1.2026-10  3 of 41 by chance, 1 picked, 2 read'"""
    n_picked = len(sample.exams) - sample.n_random
    picked = f", {n_picked} picked" if n_picked else ""
    return (
        f"{sample.sample_id}  {sample.n_random} of {len(sample.frame)} by chance{picked}, "
        f"{sample.n_read} read"
    )


def sample_lines(sample: Sample, desk: SecondReadingDesk) -> list[str]:
    """How it was drawn, then its exams. A first result shows only once the second is in."""
    proof = "drawn again it is the same" if sample.is_as_drawn else "DRAWN AGAIN IT DIFFERS"
    return [
        sample_line(sample),
        f"Drawn {sample.drawn_at[:10]} by {sample.drawn_by} from {sample.snapshot_id}, "
        f"method {sample.method}, seed {sample.seed}: {proof}.",
        *(exam_line(one, desk) for one in sample.exams),
    ]


def exam_line(exam: SampledExam, desk: SecondReadingDesk) -> str:
    why = exam.reason or "by chance"
    head = f"{exam.code}  {exam.shown}  {why}"
    if exam.second is None:
        return f"{head}  waits for {exam.reader or 'a reader'}"
    found = "; ".join(desk.discrepancies(exam)) or "agree"
    case = f"  {exam.case_id}" if exam.case_id else ""
    return f"{head}  first {exam.first.words}; second {exam.second.words}: {found}{case}"


def agreement_text(found: Agreement) -> str:
    return "\n".join(agreement_lines(found))


def sheet_frame(exams: Sequence[SampledExam]) -> pl.DataFrame:
    """SHEET_COLUMNS: what a reader may know, and empty columns to fill in."""
    rows = [(one.code, one.shown, None, None, None, None) for one in exams]
    return pl.DataFrame(rows, schema=dict.fromkeys(SHEET_COLUMNS, pl.String), orient="row")


def read_sheet(path: Path) -> list[ReadForm]:
    """A filled sheet; rows without an outcome are left for later.

    Raises: FollowupError FUP-059 where the file is no such sheet or a cell is no number.
    """
    try:
        if path.stat().st_size > MAX_SHEET_BYTES:
            raise _no_sheet(path, "it is too large")
        with path.open(encoding="utf-8-sig", newline="") as file:
            head = file.readline()
            kind = ";" if head.count(";") > head.count(",") else ","
            file.seek(0)
            rows = list(csv.DictReader(file, delimiter=kind, strict=True))
    except (OSError, UnicodeDecodeError, csv.Error):
        raise _no_sheet(path, "it cannot be read") from None
    if any(row.keys() != set(SHEET_COLUMNS) or None in row.values() for row in rows) or not rows:
        raise _no_sheet(path, "its headings are others")
    return [
        ReadForm(
            code=row["code"].strip(),
            outcome=row["outcome"].strip().lower(),
            stiffness_kpa=_number(row["stiffness_kpa"], path, number),
            attenuation_db_m=_number(row["attenuation_db_m"], path, number),
            words=row["words"],
        )
        for number, row in enumerate(rows, start=1)
        if row["outcome"].strip()
    ]


def _number(cell: str, path: Path, row: int) -> float | None:
    try:
        return float(cell.strip().replace(",", ".")) if cell.strip() else None
    except ValueError:
        raise FollowupError(
            "a cell holds no number",
            where=f"{path.name}, row {row}",
            expected="a figure, or nothing",
            todo="Mend it and enter the sheet again; nothing was changed",
            code="FUP-059",
        ) from None


def _no_sheet(path: Path, why: str) -> FollowupError:
    return FollowupError(
        why,
        where=path.name,
        expected=f"CSV with {', '.join(SHEET_COLUMNS)}; outcome: {', '.join(READ_OUTCOMES)}",
        todo="Fill in the sheet as 'second-reading sheet' writes it; nothing was changed",
        code="FUP-059",
    )
