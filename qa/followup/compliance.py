"""Facts of a site's month → met, not met or no evidence, for each requirement.

No evidence is never a pass. A verdict depends on the facts alone, never on their order.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

from qa.followup.facts import Facts, due_at
from qa.followup.judge_data import (
    Found,
    judge_baselines,
    judge_closed,
    judge_in,
    judge_measure,
    judge_retention,
)
from qa.followup.judge_devices import judge_devices
from qa.followup.judge_record import (
    judge_cases,
    judge_competence,
    judge_pack,
    judge_read,
    judge_rules,
    judge_signals,
    judge_signed,
    judge_trail,
)
from qa.model.document_words import Compliance, EvidenceRule
from qa.model.requirement import Requirement

Judge = Callable[[Requirement, Facts], Found]

JUDGES: dict[EvidenceRule, Judge] = {
    EvidenceRule.MEASURE: judge_measure,
    EvidenceRule.MONTH_IN: judge_in,
    EvidenceRule.MONTH_CLOSED: judge_closed,
    EvidenceRule.BASELINES: judge_baselines,
    EvidenceRule.SIGNALS: judge_signals,
    EvidenceRule.CASES: judge_cases,
    EvidenceRule.COMPETENCE: judge_competence,
    EvidenceRule.PHANTOM_CHECKS: judge_devices,
    EvidenceRule.PACK: judge_pack,
    EvidenceRule.TRAIL: judge_trail,
    EvidenceRule.RULES_APPROVED: judge_rules,
    EvidenceRule.RULES_READ: judge_read,
    EvidenceRule.RETENTION: judge_retention,
    EvidenceRule.SIGNED: judge_signed,
}


@dataclass(frozen=True)
class Verdict:
    """Whether a site met a requirement in a month, as known at a moment.

    Args:
        requirement: the rule that was in force then.
        snapshot_id: what the figures were read from; "" where nothing was published.
        is_provisional: the month's evidence is not due yet.
    """

    requirement: Requirement
    site_id: str
    month: date
    known_at: datetime
    found: Found
    snapshot_id: str
    is_provisional: bool

    @property
    def answer(self) -> Compliance:
        return self.found.answer


def judge(requirement: Requirement, facts: Facts) -> Verdict:
    """One requirement; a month whose evidence is not due yet cannot be missed for lack of it."""
    found = JUDGES[requirement.rule](requirement, facts)
    if found.answer is Compliance.NOT_MET and found.can_still_come and not facts.is_due:
        words = f"{found.sentence} It is due by {due_words(facts.month)}."
        found = Found(Compliance.NO_EVIDENCE, words, found.evidence, found.can_still_come)
    return Verdict(
        requirement=requirement,
        site_id=facts.site_id,
        month=facts.month,
        known_at=facts.known_at,
        found=found,
        snapshot_id=facts.snapshot.snapshot_id if facts.snapshot else "",
        is_provisional=not facts.is_due,
    )


def due_words(month: date) -> str:
    """The last day on which evidence of a month is due. Example: October 2026 → '2026-11-30'"""
    return f"{date.fromordinal(due_at(month).date().toordinal() - 1)}"
