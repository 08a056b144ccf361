"""Rows that wait in quarantine and files that were refused: what is wrong, in words for a site."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import polars as pl

from qa.intake.checks import SENTENCES
from qa.intake.steps import STEPS
from qa.model.file_problems import FILE_PROBLEMS
from qa.views.sheets import Cell, Sheet

ID_DIGITS = 12
"""Digits of a file's SHA-256 by which people name it."""
WHOLE_FILE = "(the whole file)"
HEADINGS = (
    "File", "File number", "Read on (UTC)", "Row under the headings", "Column",
    "What was found", "What is expected", "What is wrong", "What to do", "Code",
)  # fmt: skip
_UNPRINTABLE = re.compile(
    "[\x00-\x1f\x7f-\x9f\u2028\u2029\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff]"
)
_SENTENCE_END = re.compile(r"\. (?=[A-Z])")
_CODE = re.compile(r"\[([A-Z]{3}-\d{3})\]\s*")


@dataclass(frozen=True)
class Fault:
    """One reason why a row waits; step says what to do about it."""

    code: str
    sentence: str
    step: str
    column: str
    found: str
    expected: str


@dataclass(frozen=True)
class WaitingRow:
    """One row that waits, with all of its reasons."""

    file_id: str
    row_no: int
    site_id: str | None
    profile_id: str
    known_at: datetime
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class WaitingFile:
    """A file with rows that wait, or one that was refused whole (problem says why)."""

    file_id: str
    name: str
    site_id: str | None
    profile_id: str | None
    read_at: datetime
    n_rows: int
    rows: tuple[WaitingRow, ...]
    problem: str = ""

    @property
    def number(self) -> str:
        return self.file_id[:ID_DIGITS]

    @property
    def reasons(self) -> list[tuple[str, str, int]]:
        """Code, sentence and rows, most rows first; a row counts once for each of its codes."""
        counts = Counter(code for row in self.rows for code in {one.code for one in row.faults})
        return [
            (code, SENTENCES[code], n)
            for code, n in sorted(counts.items(), key=lambda item: (-item[1], item[0]))
        ]


def waiting_row(row: dict[str, Any]) -> WaitingRow:
    """One row of QUARANTINED, in words."""
    lists = (row["codes"], row["columns"], row["found"], row["expected"])
    return WaitingRow(
        file_id=row["file_id"],
        row_no=row["row_no"],
        site_id=row["site_id"],
        profile_id=row["profile_id"],
        known_at=row["known_at"],
        faults=tuple(
            Fault(
                code,
                SENTENCES.get(code, ""),
                STEPS.get(code, ""),
                *(_printable(text) for text in texts),
            )
            for code, *texts in zip(*lists, strict=True)
        ),
    )


def waiting_files(quarantined: pl.DataFrame, files: pl.DataFrame) -> tuple[WaitingFile, ...]:
    """Files with rows that wait, and files whose newest entry is a refusal.

    Args:     quarantined: QUARANTINED, the rows that wait.   files: FILES, every entry.
    Returns:  by site, and then in the order in which the files were read.
    """
    newest = files.sort("known_at").group_by("site_id", "file_id", maintain_order=True).last()
    # The same bytes read again as sent by another site: rows wait in the newest reading only.
    is_read = pl.col("state") == "read"
    last_at = pl.col("known_at").filter(is_read).max().over("file_id")
    newest = newest.filter(~is_read | (pl.col("known_at") == last_at))
    rows: dict[str, list[WaitingRow]] = {}
    for row in quarantined.iter_rows(named=True):
        rows.setdefault(row["file_id"], []).append(waiting_row(row))
    return tuple(
        WaitingFile(
            file_id=file["file_id"],
            name=file["name"],
            site_id=file["site_id"],
            profile_id=file["profile_id"],
            read_at=file["known_at"],
            n_rows=file["n_rows"],
            rows=tuple(rows.get(file["file_id"], ())) if file["state"] == "read" else (),
            problem=file["problem"] or "" if file["state"] == "refused" else "",
        )
        for file in _still_refused(newest).sort("site_id", "known_at").iter_rows(named=True)
        if file["state"] == "refused" or file["file_id"] in rows
    )


def files_of_site(files: Sequence[WaitingFile], site_id: str | None) -> tuple[WaitingFile, ...]:
    """Of a file whose rows name their site, only the rows of this site are its own."""
    if site_id is None:
        return tuple(files)
    own = []
    for file in files:
        rows = tuple(row for row in file.rows if row.site_id == site_id)
        if rows or file.site_id == site_id:
            own.append(replace(file, rows=rows))
    return tuple(own)


def _still_refused(newest: pl.DataFrame) -> pl.DataFrame:
    """Without refusals of a name under which other bytes were read later: the file was mended."""
    later = newest.filter(pl.col("state") == "read").select("site_id", "name", read_at="known_at")
    last = later.group_by("site_id", "name").agg(pl.col("read_at").max())
    joined = newest.join(last, on=["site_id", "name"], how="left", nulls_equal=True)
    is_mended = (pl.col("state") == "refused") & (pl.col("read_at") > pl.col("known_at"))
    return joined.filter(~is_mended.fill_null(value=False)).drop("read_at")


def return_sheet(files: tuple[WaitingFile, ...]) -> Sheet:
    """What a site has to mend: one line for each reason of each row, and for each refused file."""
    rows: list[tuple[Cell, ...]] = []
    for file in files:
        head = (file.name, file.number, f"{file.read_at:%Y-%m-%d %H:%M}")
        if file.problem:
            rows.append((*head, WHOLE_FILE, "", *_refusal(file)))
        for row in file.rows:
            rows += [
                (
                    *head,
                    row.row_no,
                    one.column,
                    one.found,
                    one.expected,
                    one.sentence,
                    one.step,
                    one.code,
                )
                for one in row.faults
            ]
    return Sheet(HEADINGS, tuple(rows))


def _refusal(file: WaitingFile) -> tuple[str, str, str, str, str]:
    """Found, expected, what is wrong, what to do and code, out of the message of the refusal."""
    code = _CODE.match(file.problem)
    text = _CODE.sub("", file.problem).removeprefix(f"{file.name}: ")
    found, mark, rest = text.partition(" Expected: ")
    expected, step = _sentence_and_rest(rest)
    if not mark:
        found, step = _sentence_and_rest(found)
    number = code[1] if code else ""
    told = [_printable(one) for one in (found, expected)]
    return told[0], told[1], FILE_PROBLEMS.get(number, ""), _printable(step), number


def _sentence_and_rest(text: str) -> tuple[str, str]:
    """The first sentence, and what follows; a full stop within quotation marks ends none."""
    for end in _SENTENCE_END.finditer(text):
        if text[: end.start()].count("'") % 2 == 0:
            return text[: end.start() + 1], text[end.end() :]
    return text, ""


def _printable(text: str) -> str:
    """Signs that no screen shows become one that every screen shows."""
    return _UNPRINTABLE.sub("�", text)
