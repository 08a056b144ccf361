"""Verdicts from the record: signals, cases, competence, documents, packs, trail, signatures."""

from datetime import date

from qa.followup.approval import approval_of, why_not_approved
from qa.followup.documents import Document
from qa.followup.due import due_items
from qa.followup.facts import Facts, ListedItem
from qa.followup.judge_data import MET, NONE, NOT_MET, NOTHING_PUBLISHED, Evidence, Found
from qa.followup.statements import newest_for
from qa.model.document_words import DocumentKind, DocumentState
from qa.model.requirement import Requirement


def judge_signals(requirement: Requirement, facts: Facts) -> Found:
    """Each item on the month's list has a case, or a review with its reason."""
    if facts.snapshot is None:
        return NOTHING_PUBLISHED
    items = sorted(facts.snapshot.items, key=lambda one: one.item_id)
    if not items:
        return Found(MET, "No item of the site stood on the month's list.")
    cases = {item.item_id: case for case in sorted_cases(facts) for item in case.items}
    reviews = {one.item_id: one for one in facts.reviews if one.is_dismissed}
    looked_at = facts.month_review.looked_at if facts.month_review else {}
    evidence, n_open = [], 0
    for item in items:
        if item.item_id in cases:
            case = cases[item.item_id]
            evidence.append(Evidence("case", case.case_id, f"{case.case_id}: {item.finding}"))
        elif item.item_id in reviews:
            review = reviews[item.item_id]
            said = f"reviewed by {review.by} on {review.at[:10]}: {review.why}"
            evidence.append(_of_item(item, said))
        elif item.item_id in looked_at:
            look = looked_at[item.item_id]
            said = f"looked at by {look.by} on {look.at[:10]}, again next month: {look.words}"
            evidence.append(_of_item(item, said))
        else:
            n_open += 1
            evidence.append(_of_item(item, "not decided"))
    if not n_open:
        words = f"All {len(items)} items were decided on."
        if len(items) == 1:
            words = "The only item of the site was decided on."
        return Found(MET, words, tuple(evidence))
    return Found(
        NOT_MET, f"{n_open} of {len(items)} items were not decided on.", tuple(evidence), True
    )


def _of_item(item: ListedItem, said: str) -> Evidence:
    return Evidence("item", item.item_id, f"{item.finding} ({said})", item.measure_id)


def sorted_cases(facts: Facts) -> list:
    return sorted(facts.cases, key=lambda one: one.case_id)


def judge_cases(requirement: Requirement, facts: Facts) -> Found:
    """By the day of the moment: what was overdue then."""
    on = facts.known_at.date()
    own = [one for one in sorted_cases(facts) if one.site_id == facts.site_id]
    due = due_items(own, on=on)
    evidence = tuple(
        Evidence(
            "case",
            one.case_id,
            f"{one.case_id}: {one.title}, {one.state}. {one.what} ({one.owner}, by {one.due_on})",
        )
        for one in due
    )
    late = [one for one in due if one.is_overdue]
    if late:
        words = f"{len(late)} of {len(due)} open cases were overdue on {on}."
        return Found(NOT_MET, words, evidence)
    if not due:
        words = f"No case was open on {on}; {len(own)} were closed before."
        return Found(MET, words, tuple(Evidence("case", one.case_id, one.title) for one in own))
    return Found(MET, f"{len(due)} open cases, none overdue on {on}.", evidence)


def judge_competence(requirement: Requirement, facts: Facts) -> Found:
    if facts.lacking is None:
        return NOTHING_PUBLISHED
    if not facts.lacking:
        return Found(NONE, "Nobody examined at the site that month.")
    if not facts.has_files:
        return Found(NONE, "No operator's file had been begun.")
    whole = facts.lacking
    evidence = tuple(
        Evidence("operator", one, _operator_words(one, whole[one], facts.holds.get(one, "")))
        for one in sorted(whole)
    )
    n_lacking = sum(bool(words) for words in whole.values())
    if not n_lacking:
        return Found(MET, f"The files of all {len(whole)} operators are whole.", evidence)
    names = ", ".join(one for one in sorted(whole) if whole[one])
    words = f"{n_lacking} of {len(whole)} operators lack something in their file: {names}."
    return Found(NOT_MET, words, evidence)


def _operator_words(name: str, lacks: str, holds: str) -> str:
    said = f"lacks: {lacks}" if lacks else "nothing lacks"
    return f"{name}: {said}" + (f" ({holds})" if holds else "")


def judge_pack(requirement: Requirement, facts: Facts) -> Found:
    if not facts.packs:
        return Found(NOT_MET, "No pack of this month had been issued.", (), True)
    packs = sorted(facts.packs, key=lambda one: one.number)
    evidence = tuple(
        Evidence("pack", f"{one.number}", f"Issue {one.number}, made from {one.snapshot_id}")
        for one in packs
    )
    words = f"Issue {packs[-1].number}, from the snapshot of {packs[-1].published_at:%Y-%m-%d}."
    return Found(MET, words, evidence)


def judge_trail(requirement: Requirement, facts: Facts) -> Found:
    trail = facts.trail
    if trail is None or not trail.n_rows:
        return Found(NONE, "The trail had no line by then.")
    walked = Evidence("trail", "", f"Walked {trail.checked_at:%Y-%m-%d %H:%M} UTC")
    if trail.faults:
        words = f"{len(trail.faults)} faults: {trail.faults[0]}"
        told = tuple(Evidence("trail", "", one) for one in trail.faults[:20])
        return Found(NOT_MET, words, (walked, *told))
    words = f"{trail.n_rows:,} lines up to then, none altered, removed or moved."
    return Found(MET, words, (walked,))


def judge_rules(requirement: Requirement, facts: Facts) -> Found:
    """Every criteria set that judged days of the month was approved by two people."""
    if facts.snapshot is None:
        return NOTHING_PUBLISHED
    documents = sorted(facts.documents, key=lambda one: one.document_id)
    evidence, missing, is_known = [], [], False
    for in_force, fingerprint in facts.snapshot.in_force:
        found = approval_of(in_force, documents, fingerprint=fingerprint)
        if found:
            words = f"{found.document_id}: proposed by {found.proposed_by}, approved by "
            words += f"{found.approved_by} on {found.approved_at[:10]}, {found.fingerprint}"
            evidence.append(Evidence("document", found.document_id, words))
        else:
            is_known |= any(one.document_id == in_force.id for one in documents)
            missing.append(why_not_approved(in_force, documents, fingerprint=fingerprint))
    if not missing:
        return Found(MET, "Approved: " + "; ".join(one.words for one in evidence), tuple(evidence))
    words = "; ".join(missing) + "."
    return Found(NOT_MET if is_known else NONE, words, tuple(evidence))


def judge_read(requirement: Requirement, facts: Facts) -> Found:
    """Criteria sets and protocols that were in force for the site on the month's last day."""
    wanted = _rules_of(facts, facts.last_day)
    if not wanted:
        return Found(NONE, "No criteria set and no protocol was under control and in force.")
    readers = {
        one.document_id: [read.by for read in one.reads if facts.site_id in read.sites]
        for one in wanted
    }
    evidence = tuple(
        Evidence(
            "document",
            one.document_id,
            f"{one.document_id}: read by {', '.join(sorted(readers[one.document_id])) or 'nobody'}",
        )
        for one in wanted
    )
    unread = [name for name, who in readers.items() if not who]
    if not unread:
        names = ", ".join(one.document_id for one in wanted)
        return Found(MET, f"What was in force was read at the site: {names}.", evidence)
    words = f"Nobody of the site confirmed to have read {', '.join(unread)}."
    return Found(NOT_MET, words, evidence, True)


def _rules_of(facts: Facts, day: date) -> list[Document]:
    kinds = (DocumentKind.CRITERIA, DocumentKind.PROTOCOL)
    found = [
        one
        for one in facts.documents
        if one.kind in kinds
        and one.site_id in (None, facts.site_id)
        and one.state_on(day) is DocumentState.IN_FORCE
    ]
    return sorted(found, key=lambda one: one.document_id)


def judge_signed(requirement: Requirement, facts: Facts) -> Found:
    one = newest_for(facts.statements, requirement.id, facts.site_id, facts.month)
    if one is None:
        return Found(NONE, "Nobody has signed for it.")
    words = f"{one.words.rstrip(' .')}. Signed by {one.by} on {one.at[:10]}, until {one.until}."
    evidence = (Evidence("statement", one.statement_id, f"{one.statement_id}: {words}"),)
    return Found(MET if one.is_met else NOT_MET, words, evidence)
