"""Who may do what, and who lacks something: operators' files as shown."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.followup.competence import OperatorFile, plain_file
from qa.followup.standing import Standing
from qa.model.definitions import Network
from qa.views import words
from qa.views.names import short_operator_name, site_name

BEGIN = "A training, entered on an operator's page, begins one."


@dataclass(frozen=True)
class StandingRow:
    """One operator who lacks something."""

    operator_id: str
    name: str
    site_name: str
    stage: str
    exams_text: str
    lacks: str


@dataclass(frozen=True)
class CompetenceView:
    """Operators' files over a network.

    Args:
        text: how many lack something. rows: those, the most exams first.
        outside_text: exams of the month outside an authorisation. outside: operator, what, exams,
            days, why.
    """

    text: str
    rows: tuple[StandingRow, ...]
    outside_text: str
    outside: tuple[tuple[str, str, str, str, str], ...]


def competence_view(
    standings: Sequence[Standing],
    outside: pl.DataFrame,
    *,
    network: Network,
    has_files: bool,
    month_text: str,
) -> CompetenceView:
    """Who lacks what, and which exams no authorisation covers.

    Args:
        standings: of operators whom the reader may see; those without exams this year and without
            a file are left out.
        outside: OUTSIDE_COLUMNS of the month.
        has_files: some file was begun; without any, every exam would be outside, so none is listed.
    """
    if not has_files:
        return CompetenceView(f"No operator's file was begun yet. {BEGIN}", (), "", ())
    active = [one for one in standings if one.n_year or "no file was begun" not in one.lacks]
    lacking = sorted(
        (one for one in active if one.lacks), key=lambda one: (-one.n_year, one.operator_id)
    )
    return CompetenceView(
        text=_text(len(lacking), len(active)),
        rows=tuple(_row(one, network) for one in lacking),
        outside_text=_outside_text(outside.height, month_text),
        outside=_outside_rows(outside, network),
    )


def _text(n_lacking: int, n: int) -> str:
    if not n_lacking:
        return f"Nothing lacks in the files of {words.counted(n, 'operator')}."
    verb = "lacks" if n_lacking == 1 else "lack"
    return words.as_sentence(f"{words.share_of(n_lacking, n, 'operator')} {verb} something")


def _row(one: Standing, network: Network) -> StandingRow:
    return StandingRow(
        operator_id=one.operator_id,
        name=short_operator_name(network, one.operator_id),
        site_name=_home(network, one.operator_id),
        stage=one.stage.value,
        exams_text=f"{words.whole(one.n_exams)}, {words.whole(one.n_year)} in 12 months",
        lacks=words.as_sentence("; ".join(one.lacks)),
    )


def _home(network: Network, operator_id: str) -> str:
    person = network.operator(operator_id)
    return site_name(network, person.site) if person else ""


def _outside_text(n: int, month_text: str) -> str:
    if not n:
        return f"Every exam of {month_text} was done within an authorisation."
    verb = "was" if n == 1 else "were"
    return f"{words.counted(n, 'exam')} of {month_text} {verb} done outside an authorisation."


def _outside_rows(
    outside: pl.DataFrame, network: Network
) -> tuple[tuple[str, str, str, str, str], ...]:
    keys = ["operator_id", "technique", "probe", "why"]
    found = outside.group_by(keys).agg(
        pl.len().alias("n"),
        pl.col("exam_on").min().alias("first"),
        pl.col("exam_on").max().alias("last"),
    )
    return tuple(
        (
            short_operator_name(network, row["operator_id"]),
            f"{row['technique']}, {row['probe']}",
            words.whole(row["n"]),
            _days(row["first"], row["last"]),
            words.as_sentence(row["why"]),
        )
        for row in found.sort("n", *keys, descending=[True, *[False] * len(keys)]).iter_rows(
            named=True
        )
    )


def _days(first: date, last: date) -> str:
    return str(first) if first == last else f"{first} to {last}"


def file_facts(
    file: OperatorFile | None, standing: Standing, *, can_enter: bool = True
) -> tuple[tuple[str, str], ...]:
    """An operator's file in short. can_enter: whoever reads may begin one."""
    lacks = words.as_sentence("; ".join(standing.lacks)) if standing.lacks else "Nothing."
    due = standing.refresher_due_on
    shown: Mapping[str, str] = plain_file(file) if file else {}
    facts: tuple[tuple[str, str], ...] = (
        ("Stage", words.as_sentence(standing.stage.value)),
        ("Exams", f"{words.whole(standing.n_exams)}, {words.whole(standing.n_year)} in 12 months."),
        ("Authorised", shown.get("Authorised", "").replace("\n", "; ") or "For nothing."),
        *((("Earlier exams", shown["Earlier"]),) if shown.get("Earlier") else ()),
        ("Observed exams", f"{standing.n_observed} signed off."),
        ("Refresher due", str(due) if due else "No training on record."),
        ("Lacks", lacks),
    )
    none = f"No file was begun. {BEGIN}" if can_enter else "No file was begun."
    return facts if file else (*facts[:2], ("File", none))
