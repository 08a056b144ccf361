"""Units and measures as people write them, and baselines in words."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.charts.propose import Proposal, propose_resets
from qa.measures import NETWORK_UNIT_ID
from qa.model.definitions import Measure, Network
from qa.model.errors import WrongUse
from qa.model.months import month_name, parse_month, short_month_name
from qa.model.published import Definitions, Published
from qa.model.words import UnitKind
from qa.views import words


def find_measure(definitions: Definitions, name: str) -> Measure:
    """The measure with this id or key.

    Raises: WrongUse: there is none.
    """
    for one in definitions.measures.values():
        if name in (one.id, one.key):
            return one
    known = ", ".join(one.key for one in definitions.measures.values())
    raise WrongUse(f"there is no measure '{name}'", expected=f"one of {known}", code="USE-048")


def parse_unit(network: Network, text: str) -> tuple[str, str]:
    """A unit as "site:S1" or "network" → its kind and id.

    Raises: WrongUse: it is not in the network.
    """
    kind, _, unit_id = text.partition(":")
    known = {
        str(UnitKind.NETWORK): [""],
        str(UnitKind.SITE): [one.id for one in network.sites],
        str(UnitKind.OPERATOR): [one.id for one in network.operators],
        str(UnitKind.DEVICE): [one.id for one in network.devices],
    }
    if unit_id not in known.get(kind, []):
        raise WrongUse(
            f"there is no unit '{text}'",
            expected="network, site:ID, operator:ID or device:ID, as in network.toml",
            code="USE-049",
        )
    return kind, unit_id or NETWORK_UNIT_ID


def baseline_words(row: dict) -> str:
    """What stands behind a baseline: period, exams, months taken out, who set it and why.

    Args: row: one of BASELINES.
    """
    period = f"{short_month_name(row['from_month'])} to {short_month_name(row['to_month'])}"
    parts = [f"{period}: {words.percent(row['centre'])} of {words.counted(row['n'], 'exam')}."]
    taken = removed_words(row["removed_months"])
    parts += [taken] if taken else []
    if row["is_unsteady"]:
        parts.append("Its months have no one level; none was taken out.")
    if (row["version_no"] or 1) > 1:
        parts.append(
            f"Version {row['version_no']}, set by {row['set_by']} on {row['set_at']:%Y-%m-%d}: "
            f"{words.as_sentence(row['reason'])}"
        )
    return " ".join(parts)


def removed_words(months: list[str] | None) -> str:
    """Months taken out of a baseline, in words; "" where there are none."""
    if not months:
        return ""
    names = [short_month_name(parse_month(one)) for one in months]
    return f"Taken out, outside their own limits: {words.listed(names)}."


def proposal_words(one: Proposal) -> str:
    """The evidence for another level, and that a person decides."""
    ends = words.percent_with_interval(one.value, one.lower, one.upper)
    kind = {True: "better", False: "worse", None: "other"}[one.is_better]
    return (
        f"Since about {month_name(one.from_month)} {ends} of {words.counted(one.n, 'exam')} "
        f"instead of {words.percent(one.old_centre)}: a {kind} level, steady for "
        f"{words.counted_word(one.n_months, 'month')}."
    )


@dataclass(frozen=True)
class ResetEvidence:
    """Evidence for another level, in words, and the command that would set a baseline."""

    sentence: str
    command: str


def reset_evidence(
    published: Published, *, unit_kind: str, unit_id: str, measure_id: str, last_month: date
) -> ResetEvidence | None:
    """What speaks for a new baseline of one chart up to a month; None where nothing does."""
    points = published.frame(
        "chart_points", unit_kind=unit_kind, unit_id=unit_id, measure_id=measure_id
    ).filter(pl.col("month") <= last_month)
    better = published.definitions.measures[measure_id].better
    found = propose_resets(
        points, baselines=published.frame("baselines"), better={measure_id: better}
    )
    return ResetEvidence(proposal_words(found[0]), command_of(found[0])) if found else None


def command_of(one: Proposal) -> str:
    """The command that would set it; who and why are left for the person."""
    unit = one.unit_kind if one.unit_id == NETWORK_UNIT_ID else f"{one.unit_kind}:{one.unit_id}"
    return (
        f"elastoqa baseline set --unit {unit} --measure {one.measure_id} "
        f'--from {_month(one.from_month)} --by NAME --reason "…"'
    )


def _month(month: date) -> str:
    return f"{month:%Y-%m}"
