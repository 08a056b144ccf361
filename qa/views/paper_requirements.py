"""Requirements of a document: met, not met or no evidence, month by month."""

from collections.abc import Sequence
from datetime import date

from qa.followup.compliance import Verdict
from qa.model.document_words import Compliance, EvidenceRule
from qa.model.months import MONTH_NAMES, month_name
from qa.model.requirement import REQUIREMENTS_CAUTION
from qa.views import words
from qa.views.pack_facts import PackFacts
from qa.views.paper import Block, Grid, Look, Mark, Para, Section
from qa.views.paper_cases import NO_RECORD
from qa.views.record import MARKS
from qa.views.shown import Figure

WORDS = {Compliance.MET: "met", Compliance.NOT_MET: "not met", Compliance.NO_EVIDENCE: "none"}
LEGEND = (
    "Dot: met. Filled diamond: not met. Hollow diamond, none: no evidence, which is never a pass. "
    "Evidence of a month is due by the end of the next one; until then a month is provisional."
)
OWN_PACK = "This pack is the evidence, once it is issued."


def short_month(month: date) -> str:
    """Example: 'Oct 26'"""
    return f"{MONTH_NAMES[month.month - 1][:3]} {month:%y}"


def site_requirement_section(facts: PackFacts | None, *, month: date) -> Section:
    """Each requirement in the pack's month and the months before it that are shown."""
    title = "Requirements met"
    if facts is None or not facts.verdicts:
        return Section("requirements", title, (Para(NO_RECORD, Look.SMALL),))
    months = sorted({one.month for one in facts.verdicts})
    lead = _lead(facts.verdicts, months)
    rows = []
    for requirement_id in _ids(facts.verdicts):
        own = {one.month: one for one in facts.verdicts if one.requirement.id == requirement_id}
        shown = own.get(month) or own[max(own)]
        rows.append(
            (
                (
                    Para(shown.requirement.title, Look.SMALL),
                    Para(shown.requirement.full_id, Look.NOTE),
                ),
                *(_mark(own.get(one)) for one in months),
                Para(_sentence(shown), Look.SMALL),
            )
        )
    headings = ("Requirement", *(short_month(one) for one in months), "What was found")
    shares = (30.0, *(12.0 for _ in months), 70.0 - 12.0 * len(months))
    blocks: list[Block] = [
        *lead,
        Grid(f"Requirements up to {month_name(month)}", headings, tuple(rows), shares),
        Para(LEGEND, Look.NOTE),
        Para(REQUIREMENTS_CAUTION, Look.NOTE),
    ]
    return Section("requirements", title, tuple(blocks), room=150.0)


def _ids(verdicts: Sequence[Verdict]) -> list[str]:
    return sorted({one.requirement.id for one in verdicts})


def _lead(verdicts: Sequence[Verdict], months: Sequence[date]) -> list[Block]:
    """How many are met, not met and without evidence in each month; a figure each."""
    found: list[Block] = []
    for month in months:
        own = [one for one in verdicts if one.month == month]
        n = {one: sum(verdict.answer is one for verdict in own) for one in Compliance}
        late = " (provisional)" if any(one.is_provisional for one in own) else ""
        text = (
            f"{month_name(month)}{late}: {n[Compliance.MET]} of "
            f"{words.counted(len(own), 'requirement')} met, {n[Compliance.NOT_MET]} not met, "
            f"{n[Compliance.NO_EVIDENCE]} without evidence."
        )
        figure = Figure(f"requirements.{month:%Y-%m}", "requirements", text, None)
        found.append(Para(text, Look.SMALL, figure))
    return found


def _mark(verdict: Verdict | None) -> Mark | str:
    if verdict is None:
        return "–"
    return Mark(MARKS[verdict.answer], WORDS[verdict.answer])


def _sentence(verdict: Verdict) -> str:
    if verdict.requirement.rule is EvidenceRule.PACK and verdict.is_provisional:
        return OWN_PACK
    return verdict.found.sentence
