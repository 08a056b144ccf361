"""A file that was tried: the profile proposed for it, or what its site's profile makes of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.intake.checks import SENTENCES
from qa.intake.suggest import Suggestion, Sureness
from qa.views import words

_EMPTY = "–"


@dataclass(frozen=True)
class Proposal:
    """A proposed profile.

    text: its TOML. placed: (target, source, how sure, why). questions: what a person decides.
    left_out: headings kept out for what stands there. unplaced: (heading, what it looks like).
    """

    answer: str
    text: str
    placed: tuple[tuple[str, str, str, str], ...]
    questions: tuple[str, ...]
    left_out: tuple[str, ...]
    unplaced: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Trial:
    """What a profile makes of a file.

    facts: (name, value) of dates, units and the like. waiting, flagged: (rows, sentence, code).
    headings, rows: the first rows as they would enter, pseudonymised, as text.
    """

    answer: str
    facts: tuple[tuple[str, str], ...]
    waiting: tuple[tuple[str, str, str], ...]
    flagged: tuple[tuple[str, str, str], ...]
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def proposal_view(found: Suggestion, *, text: str, n_rows: int) -> Proposal:
    """Args: text: the profile as TOML. n_rows: rows that were looked at."""
    placed = [
        (
            one.target,
            one.heading or f"always {one.constant}",
            str(one.sureness),
            one.why,
        )
        for one in found.placed
    ]
    if found.layout:
        listed = ", ".join(found.layout.headings)
        placed.append(("single readings", listed, str(Sureness.LIKELY), found.layout.why))
    return Proposal(
        answer=_proposal_answer([sure for _, _, sure, _ in placed], len(found.unplaced), n_rows),
        text=text,
        placed=tuple(placed),
        questions=tuple(words.as_sentence(one) for one in found.questions),
        left_out=found.identifying,
        unplaced=found.unplaced,
    )


def _proposal_answer(sure: list[str], n_unplaced: int, n_rows: int) -> str:
    """Example: 'A profile is proposed from 40 rows: 15 figures are placed, two of them not surely;
    one column is not placed.'
    """
    n_unsure = len(sure) - sure.count(Sureness.SURE)
    parts = [
        f"A profile is proposed from {words.counted(n_rows, 'row')}: "
        f"{words.counted(len(sure), 'figure')} {_are(len(sure))} placed, "
        f"{words.number_word(n_unsure)} of them not surely"
    ]
    if n_unplaced:
        parts.append(f"{words.counted_word(n_unplaced, 'column')} {_are(n_unplaced)} not placed")
    return words.as_sentence("; ".join(parts))


def _are(n: int) -> str:
    return "is" if n == 1 else "are"


def trial_view(
    *,
    profile_id: str,
    n_accepted: int,
    n_quarantined: int,
    facts: tuple[tuple[str, str], ...],
    waiting: Mapping[str, int],
    flagged: Mapping[str, int],
    first_rows: pl.DataFrame,
) -> Trial:
    """Args: waiting, flagged: code → rows. first_rows: keys cut, no identifiers."""
    filled = [
        name for name in first_rows.columns if first_rows[name].null_count() < len(first_rows)
    ]
    return Trial(
        answer=(
            f"By profile {profile_id} {words.counted(n_accepted, 'row')} would enter and "
            f"{words.whole(n_quarantined) if n_quarantined else 'none'} would wait."
        ),
        facts=facts,
        waiting=_by_reason(waiting),
        flagged=_by_reason(flagged),
        headings=tuple(filled),
        rows=tuple(
            tuple(_EMPTY if cell is None else str(cell) for cell in row)
            for row in first_rows.select(filled).iter_rows()
        ),
    )


def _by_reason(counts: Mapping[str, int]) -> tuple[tuple[str, str, str], ...]:
    order = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return tuple((words.whole(n), SENTENCES.get(code, "See Methods."), code) for code, n in order)


def dates_text(first: date | None, last: date | None) -> str:
    return f"{first} to {last}" if first and last else words.NO_DATA


def counts_text(counts: Mapping[str, int]) -> str:
    """Example: 'kPa 38, dB/m 38'"""
    return ", ".join(f"{name} {words.whole(n)}" for name, n in counts.items()) or words.NO_DATA
