"""Whether an unknown export holds single readings: in numbered columns, or in rows."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from qa.intake.column_facts import ColumnFacts
from qa.intake.heading_match import best_phrase, heading_score, unit_in, words_of
from qa.intake.heading_words import READING
from qa.model.words import StiffnessUnit

_FEWEST_COLUMNS = 3
_NUMBERED = re.compile(r"^(.*?)\s*(\d{1,2})$")
_STIFFNESS = (0.5, 75.0)
_ROWS_PER_EXAM = (2.5, 60.0)
_YES = ("1", "y", "yes", "true", "ok", "valid", "j", "ja", "o", "oui", "si", "s", "gultig")
_NO = ("0", "n", "no", "false", "invalid", "nein", "non", "nok", "ungultig")


@dataclass(frozen=True)
class LayoutGuess:
    """Keys of [measurements]; headings_used are no longer free for other targets.

    changing: headings whose values differ among the rows of one exam.
    """

    layout: str
    headings: tuple[str, ...]
    unit: str
    why: str
    valid_heading: str = ""
    valid_values: tuple[str, ...] = ()
    invalid_values: tuple[str, ...] = ()
    order_heading: str = ""
    changing: tuple[str, ...] = ()

    @property
    def headings_used(self) -> tuple[str, ...]:
        more = (self.valid_heading, self.order_heading)
        return (*self.headings, *(one for one in more if one))


def find_layout(columns: Sequence[ColumnFacts]) -> LayoutGuess | None:
    return _find_columns(columns) or _find_rows(columns)


def _is_reading(column: ColumnFacts) -> bool:
    if column.numbers is None or not column.n_filled:
        return False
    return _STIFFNESS[0] <= column.middle <= _STIFFNESS[1] and column.low > 0


def _unit(columns: Sequence[ColumnFacts]) -> str:
    named = next((unit for one in columns for unit in [unit_in(one.heading)] if unit), None)
    if named in tuple(StiffnessUnit):
        return str(named)
    is_speed = max(one.high for one in columns) <= 5.5 and columns[0].middle < 2.5
    return StiffnessUnit.M_S if is_speed else StiffnessUnit.KPA


def _find_columns(columns: Sequence[ColumnFacts]) -> LayoutGuess | None:
    """Three headings or more that differ only in their number, all with possible readings."""
    groups: dict[str, list[ColumnFacts]] = {}
    for column in columns:
        numbered = _NUMBERED.match(column.heading)
        if numbered and _is_reading(column):
            groups.setdefault(numbered.group(1), []).append(column)
    largest = max(groups.values(), key=len, default=[])
    if len(largest) < _FEWEST_COLUMNS:
        return None
    return LayoutGuess(
        "columns",
        tuple(one.heading for one in largest),
        _unit(largest),
        f"{len(largest)} numbered columns with values from {min(o.low for o in largest):g} "
        f"to {max(o.high for o in largest):g}",
    )


def _find_rows(columns: Sequence[ColumnFacts]) -> LayoutGuess | None:
    """An exam number that comes back in several rows, with a reading that changes among them."""
    numbers = [one for one in columns if heading_score(one.heading, "exam_id") >= 1.5]
    exam = max(numbers, key=lambda one: heading_score(one.heading, "exam_id"), default=None)
    if exam is None or not exam.n_distinct:
        return None
    per_exam = exam.n_filled / exam.n_distinct
    if not _ROWS_PER_EXAM[0] <= per_exam <= _ROWS_PER_EXAM[1]:
        return None
    changing = [one for one in columns if one is not exam and _changes(one, exam)]
    readings = [
        one
        for one in changing
        if _is_reading(one) and not one.is_whole and best_phrase(words_of(one.heading), READING) > 0
    ]
    if len(readings) != 1:
        return None
    [reading] = readings
    marker = next((one for one in changing if _is_marker(one)), None)
    order = next((one for one in changing if _is_order(one, per_exam)), None)
    return LayoutGuess(
        "rows",
        (reading.heading,),
        _unit(readings),
        f"{per_exam:.1f} rows for each value of '{exam.heading}'",
        valid_heading=marker.heading if marker else "",
        valid_values=_marks(marker, _YES),
        invalid_values=_marks(marker, _NO),
        order_heading=order.heading if order else "",
        changing=tuple(one.heading for one in changing),
    )


def _changes(column: ColumnFacts, exam: ColumnFacts) -> bool:
    """Several values within one exam, more often than not."""
    values: dict[str, set[str]] = {}
    for key, cell in zip(exam.cells, column.cells, strict=True):
        if key and cell:
            values.setdefault(key, set()).add(cell)
    several = sum(len(one) > 1 for one in values.values())
    return several > 0.2 * len(values)


def _is_marker(column: ColumnFacts) -> bool:
    words = [word.casefold() for word, _ in column.words]
    return 1 < len(words) <= 2 and all(word in (*_YES, *_NO) for word in words)


def _is_order(column: ColumnFacts, per_exam: float) -> bool:
    return (
        column.numbers is not None
        and column.is_whole
        and column.low == 1
        and (column.n_distinct >= per_exam - 1)
    )


def _marks(column: ColumnFacts | None, known: tuple[str, ...]) -> tuple[str, ...]:
    words = [word for word, _ in column.words] if column else []
    return tuple(sorted(word for word in words if word.casefold() in known))
