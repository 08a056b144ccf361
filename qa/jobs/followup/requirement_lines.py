"""Requirements and verdicts in words, for the command line and for files."""

from collections.abc import Sequence

from qa.followup.compliance import Verdict
from qa.followup.statements import Statement
from qa.jobs.followup.record_desk import count_answers
from qa.model.months import month_name
from qa.model.requirement import REQUIREMENTS_CAUTION, Requirement

HEADINGS = (
    *("site_id", "month", "requirement", "version", "title", "asks", "clause", "clause_mark"),
    *("answer", "found", "evidence", "known_at", "is_provisional", "snapshot_id", "fingerprint"),
)


def catalogue_lines(requirements: Sequence[Requirement]) -> list[str]:
    """Three lines each: what, the clause with its mark, what decides it."""
    lines = []
    for one in requirements:
        lines += [
            f"{one.id}  {one.title}: {one.asks}",
            f"         {one.clause_words}",
            f"         Looked at: {one.evidence}.{_limit(one)}",
        ]
    return [*lines, "", REQUIREMENTS_CAUTION]


def _limit(one: Requirement) -> str:
    if one.at_least_share is not None:
        return f" At least {100 * one.at_least_share:g} % ({one.limit_source})."
    if one.at_most_share is not None:
        return f" At most {100 * one.at_most_share:g} % ({one.limit_source})."
    return ""


def verdict_lines(verdicts: Sequence[Verdict], *, is_short: bool = False) -> list[str]:
    """One line a verdict with its evidence below; a count first."""
    if not verdicts:
        return ["No month was asked."]
    counts = count_answers(verdicts)
    first, last = verdicts[0], max(verdicts, key=lambda one: one.month)
    period = month_name(min(one.month for one in verdicts))
    period += f" to {month_name(last.month)}" if last.month != first.month else ""
    said = ", ".join(f"{n} {answer}" for answer, n in counts.items())
    lines = [f"{first.site_id}, {period}: {said}."]
    for one in verdicts:
        mark = " (not due yet)" if one.is_provisional else ""
        lines.append(
            f"{one.month:%Y-%m}  {one.requirement.id}  {one.answer}{mark}  "
            f"{one.requirement.title}: {one.found.sentence}"
        )
        if not is_short:
            lines += [f"           {item.words}" for item in one.found.evidence]
    moments = {one.month: one.known_at for one in verdicts}
    lines += [
        f"{month:%Y-%m} as known at {moment:%Y-%m-%d %H:%M} UTC."
        for month, moment in sorted(moments.items())
    ]
    return lines


def verdict_row(one: Verdict) -> tuple[str | int | bool, ...]:
    """One verdict under HEADINGS."""
    return (
        one.site_id,
        f"{one.month:%Y-%m}",
        one.requirement.id,
        one.requirement.version,
        one.requirement.title,
        one.requirement.asks,
        one.requirement.clause,
        one.requirement.clause_mark,
        str(one.answer),
        one.found.sentence,
        "; ".join(item.words for item in one.found.evidence),
        one.known_at.isoformat(timespec="seconds"),
        one.is_provisional,
        one.snapshot_id,
        one.requirement.fingerprint,
    )


def statement_line(one: Statement) -> str:
    withdrawn = f" Withdrawn by {one.withdrawn_by}." if one.withdrawn_by else ""
    return (
        f"{one.statement_id}  {one.requirement_id}  {one.site_id or 'network'}  "
        f"{'met' if one.is_met else 'not met'}  {one.from_month:%Y-%m} to {one.until}  "
        f"signed by {one.by} on {one.at[:10]}: {one.words}{withdrawn}"
    )
