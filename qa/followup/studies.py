"""An agreement study: every operator measured every subject equally often. Kept without names.

Subjects and operators are told apart by their place only; what they are called is not kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite

from qa.followup.records import RecordClass, clean_text
from qa.model.errors import FollowupError
from qa.model.record import Event, NewEvent

Table = tuple[tuple[tuple[float, ...], ...], ...]
MAX_VALUES = 20_000


@dataclass(frozen=True)
class Study:
    """A study as kept. table: kPa, by subject, operator and trial."""

    study_id: str
    title: str
    day: date
    table: Table
    taken_back: str = ""
    n_events: int = 1

    @property
    def sizes(self) -> tuple[int, int, int]:
        """Subjects, operators, trials."""
        return len(self.table), len(self.table[0]), len(self.table[0][0])


def replay_study(events: Sequence[Event]) -> Study:
    told, last = events[0].values, events[-1]
    return Study(
        study_id=events[0].record_id,
        title=told["title"],
        day=date.fromisoformat(told["day"]),
        table=tuple(tuple(tuple(cell) for cell in row) for row in told["table"]),
        taken_back=last.values["why"] if last.kind == "taken back" else "",
        n_events=last.no,
    )


def plain_study(one: Study) -> dict[str, str]:
    subjects, operators, trials = one.sizes
    return {
        "Title": one.title,
        "Day": str(one.day),
        "Size": f"{subjects} subjects, {operators} operators, {trials} trials each",
        "Taken back": one.taken_back,
    }


STUDY = RecordClass("agreement study", "the study", replay_study, plain_study)


def keep_study(one: Study | None, *, title: str, table: Table, day: date) -> list[NewEvent]:
    """Args: table: as crossed_table (qa/drift/agreement_study.py) makes it.

    Raises: FollowupError FUP-021; RND-010 for values that cannot be.
    """
    if one is not None:
        raise FollowupError("it is there already", where=one.study_id, code="FUP-021")
    values = [value for row in table for cell in row for value in cell]
    if len(values) > MAX_VALUES or not all(isfinite(one) and one > 0 for one in values):
        raise FollowupError(
            f"{len(values)} values, {min(values, default=0):g} to {max(values, default=0):g} kPa",
            where="study",
            expected=f"up to {MAX_VALUES} values in kPa, each above 0",
            todo="Mend the file; nothing was changed",
            code="RND-010",
        )
    title = clean_text(title, field="title", longest=200)
    data = {"title": title, "day": day.isoformat(), "table": [[list(c) for c in r] for r in table]}
    return [NewEvent("kept", data)]


def take_back_study(one: Study, *, why: str) -> list[NewEvent]:
    """It is shown no more; its values stay in the record. Raises: FollowupError RND-011."""
    if one.taken_back:
        raise FollowupError("it is taken back already", where=one.study_id, code="RND-011")
    return [NewEvent("taken back", {"why": clean_text(why, field="why")})]
