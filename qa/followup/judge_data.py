"""Verdicts from published data: measures, what came in, baselines, retention."""

from dataclasses import dataclass

from qa.followup.facts import Facts, MonthValue
from qa.model.document_words import Compliance
from qa.model.requirement import Requirement
from qa.model.words import IntakeState

MET, NOT_MET, NONE = Compliance.MET, Compliance.NOT_MET, Compliance.NO_EVIDENCE


@dataclass(frozen=True)
class Evidence:
    """Something that can be opened: what it is, which one, and what it says.

    measure_id: what an item is about, so that its chart can be opened.
    """

    kind: str
    ref: str
    words: str
    measure_id: str = ""


@dataclass(frozen=True)
class Found:
    """What a rule found.

    Args:
        can_still_come: it is missing, and may come while the month is not due yet.
    """

    answer: Compliance
    sentence: str
    evidence: tuple[Evidence, ...] = ()
    can_still_come: bool = False


NOTHING_PUBLISHED = Found(NONE, "Nothing had been published by then.")


def judge_measure(requirement: Requirement, facts: Facts) -> Found:
    """The share as counted decides, on the limit counts as met; its interval is shown.

    Too few exams give no verdict.
    """
    if facts.snapshot is None:
        return NOTHING_PUBLISHED
    value = facts.snapshot.values.get(requirement.measure)
    if value is None or value.value is None:
        return Found(NONE, "There were no exams or rows to count.")
    evidence = (Evidence("measure", requirement.measure, _counted(value)),)
    limit = _limit_words(requirement)
    if value.n < value.min_n:
        words = f"Too few: {value.n} of the {value.min_n} {value.noun}s that a verdict needs."
        return Found(NONE, words, evidence)
    low, high = requirement.at_least_share, requirement.at_most_share
    is_met = value.value >= low if low is not None else value.value <= (high or 0.0)
    words = f"{_counted(value)}; asked is {limit}."
    if is_limit_inside(requirement, value):
        words += " The interval holds the limit: chance may have decided."
    return Found(MET if is_met else NOT_MET, words, evidence)


def is_limit_inside(requirement: Requirement, value: MonthValue) -> bool:
    limit = requirement.at_least_share
    limit = requirement.at_most_share if limit is None else limit
    if limit is None or value.lower is None or value.upper is None:
        return False
    return value.lower <= limit <= value.upper


def _counted(value: MonthValue) -> str:
    share, lower, upper = (100 * (one or 0.0) for one in (value.value, value.lower, value.upper))
    return (
        f"{value.n_events:,} of {value.n:,} {value.noun}s, {share:.1f} % "
        f"(95 % interval {lower:.1f} to {upper:.1f})"
    )


def _limit_words(requirement: Requirement) -> str:
    if requirement.at_least_share is not None:
        return f"at least {100 * requirement.at_least_share:g} %"
    return f"at most {100 * (requirement.at_most_share or 0.0):g} %"


def judge_in(requirement: Requirement, facts: Facts) -> Found:
    if facts.snapshot is None:
        return NOTHING_PUBLISHED
    if facts.snapshot.intake is None:
        return Found(NONE, "Nothing is known of what was to come in.")
    state, sentence, _, _ = facts.snapshot.intake
    evidence = (Evidence("intake", facts.site_id, sentence),)
    if state in (IntakeState.NOT_DUE, IntakeState.RUNNING):
        return Found(NONE, sentence, evidence)
    return Found(MET if state == IntakeState.IN else NOT_MET, sentence, evidence, True)


def judge_closed(requirement: Requirement, facts: Facts) -> Found:
    if facts.snapshot is None:
        return NOTHING_PUBLISHED
    if facts.snapshot.intake is None:
        return Found(NONE, "Nothing is known of what was to come in.")
    _, sentence, is_closed, closed_on = facts.snapshot.intake
    evidence = (Evidence("intake", facts.site_id, sentence),)
    if is_closed:
        return Found(MET, f"The month was closed on {closed_on}.", evidence)
    return Found(NOT_MET, "The month was not closed.", evidence, True)


def judge_baselines(requirement: Requirement, facts: Facts) -> Found:
    if facts.snapshot is None:
        return NOTHING_PUBLISHED
    watched = facts.snapshot.watched
    if not watched:
        return Found(NONE, "No measure with exams is watched at the site.")
    own = sorted(
        (one for one in facts.snapshot.baselines if one.measure_id in watched),
        key=lambda one: (one.measure_id, one.set_on, one.set_by),
    )
    evidence = tuple(
        Evidence("baseline", one.measure_id, f"{one.title}: frozen on {one.set_on} by {one.set_by}")
        for one in own
    )
    missing = sorted({*watched} - {one.measure_id for one in own})
    if not missing:
        words = f"All {len(watched)} measures that are watched have a frozen baseline."
        return Found(MET, words, evidence)
    names = ", ".join(watched[one] for one in missing)
    words = f"{len(missing)} of {len(watched)} watched measures have none of their own: {names}."
    return Found(NOT_MET, words, evidence, True)


def judge_retention(requirement: Requirement, facts: Facts) -> Found:
    if facts.snapshot is None:
        return NOTHING_PUBLISHED
    years = facts.snapshot.retention
    if not years:
        return Found(NONE, "network.toml states no years; everything is kept for ever.")
    named = ", ".join(f"{name} {number} years" for name, number in sorted(years.items()))
    return Found(MET, f"{named}; all other records for ever.", (Evidence("methods", "", named),))
