"""What the comparison of one measure is adjusted for, and what it is not: one TOML file each."""

from dataclasses import dataclass

from qa.model.case_mix_schemas import CASE_MIX_COLUMNS, COVARIATES
from qa.model.errors import DefinitionError
from qa.model.parsing import build, fingerprint_of, parse_toml

COVARIATE_NAMES: tuple[str, ...] = tuple(column.name for column in COVARIATES)


@dataclass(frozen=True)
class LeftOut:
    """Something that moves the measure and is not adjusted for, and why."""

    what: str
    why: str


@dataclass(frozen=True)
class Adjustment:
    """How expected events of one measure are found. A changed one is a new file.

    Args:
        measure: id of the measure.
        covariates: what is adjusted for; names of COVARIATE_NAMES.
        left_out: what is not, and why.
        min_exams: fewest exams that a level needs for a coefficient of its own.
        min_events: fewest events, and fewest others, that it needs; else it is folded into the
            largest level.
        min_total_events: fewest events over all for a model at all.
    """

    id: str
    version: int
    measure: str
    why: str
    covariates: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    min_exams: int
    min_events: int
    min_total_events: int
    source: str
    confidence: str
    fingerprint: str = ""


def parse_adjustment(text: str, *, where: str) -> Adjustment:
    """Raises: DefinitionError when a key is wrong or a covariate is unknown or named twice."""
    table = parse_toml(text, where=where, error=DefinitionError)
    found = build(
        Adjustment,
        table | {"fingerprint": fingerprint_of(text)},
        where=where,
        error=DefinitionError,
    )
    known = set(COVARIATE_NAMES)
    doubled = len(set(found.covariates)) < len(found.covariates)
    if doubled or not set(found.covariates) <= known or not found.covariates:
        raise DefinitionError(
            "`covariates` names one that does not exist, names one twice, or none",
            where=where,
            expected=f"each at most once of {', '.join(COVARIATE_NAMES)}",
            code="DEF-007",
        )
    return found


def can_be_adjusted(columns: tuple[str, ...]) -> bool:
    """The columns of a measure are counted by kind of patient and exam."""
    return set(columns) <= set(CASE_MIX_COLUMNS)
