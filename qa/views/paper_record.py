"""The accreditation record: what was complied with over a span of months, with the evidence."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from qa.followup.compliance import Verdict
from qa.followup.standing import operator_practice, operator_standing
from qa.model.document_words import Compliance
from qa.model.months import add_months, iterate_months, month_name
from qa.model.pack_request import PackRequest
from qa.model.published import Published
from qa.model.requirement import REQUIREMENTS_CAUTION
from qa.views import words
from qa.views.names import short_operator_name, site_name
from qa.views.pack import check_month
from qa.views.pack_facts import PackFacts
from qa.views.pack_record import Provenance, provenance_of
from qa.views.paper import (
    Block,
    Cell,
    Contents,
    FigureRow,
    Grid,
    Head,
    Look,
    Mark,
    Paper,
    Para,
    Section,
    said,
)
from qa.views.paper_cases import NO_RECORD, case_section, cases_of_months
from qa.views.paper_equipment import equipment_section, pack_equipment
from qa.views.paper_methods import caution_section, method_section, provenance_section
from qa.views.paper_requirements import short_month
from qa.views.paper_site import shown_network
from qa.views.record import MARKS, document_rows
from qa.views.scope import criteria_of_month
from qa.views.shown import Figure

A_ROW = 12
SHORT = {Compliance.MET: "met", Compliance.NOT_MET: "no", Compliance.NO_EVIDENCE: "none"}
LEGEND = (
    "Dot, met. Filled diamond, no: not met. Hollow diamond, none: no evidence, which is never a "
    "pass. Each month as known when its evidence was due, by the rule that was in force then; what "
    "came later is not looked at."
)


def record_paper(
    published: Published,
    request: PackRequest,
    facts: PackFacts | None,
    number: int,
    software: str,
) -> Paper:
    """Raises: PackError: no site has exams in the last month."""
    check_month(published, request.month)
    months = list(iterate_months(request.from_month or request.month, request.month))
    network = published.network
    sites = [one.id for one in network.sites if request.unit_id in (one.id, network.id)]
    criteria = {criteria_of_month(network, month) for month in months} - {None}
    made = provenance_of(
        published,
        file_months=months,
        criteria_ids={one for one in criteria if one},
        table_ids={one.id for one in network.grade_tables},
        site_id=sites[0] if len(sites) == 1 else None,
        has_rules=False,
    )
    name, author = request.name(number), shown_network(network)
    whose = site_name(network, sites[0]) if len(sites) == 1 else "All sites"
    span = f"{month_name(months[0])} to {month_name(months[-1])}"
    is_one = len(sites) == 1
    equipment = pack_equipment(
        published,
        facts,
        on=facts.known_at.date() if facts else request.month,
        site_id=sites[0] if is_one else None,
    )
    first = _first(published, facts, whose=whose, span=span, sites=sites, months=months)
    sections = (
        first,
        *_matrices(published, facts, sites, months),
        _rules(published, facts, months, made),
        _competence(published, facts, sites, months[-1]),
        equipment_section(equipment),
        case_section(
            facts, network, from_month=months[0], to_month=months[-1], names_sites=not is_one
        ),
        _trail(facts),
        method_section((), made),
        caution_section(),
        provenance_section(made, facts, pack_name=name, software=software),
    )
    return Paper(
        request=request,
        name=name,
        title=f"{whose}, {span}: accreditation record {name}",
        subject=f"What {whose} complied with, {span}",
        author=author,
        left=f"{whose} · {span}",
        right=author,
        is_invented=network.is_invented,
        criteria_id=criteria_of_month(network, request.month),
        made=made,
        sections=sections,
    )


def _of(verdicts: Sequence[Verdict], site_id: str) -> list[Verdict]:
    return [one for one in verdicts if one.site_id == site_id]


def _first(
    published: Published,
    facts: PackFacts | None,
    *,
    whose: str,
    span: str,
    sites: Sequence[str],
    months: Sequence[date],
) -> Section:
    """What was complied with in six figures, and where to find what."""
    verdicts = facts.verdicts if facts else ()
    n = {one: sum(verdict.answer is one for verdict in verdicts) for one in Compliance}
    title = f"{whose}: what was complied with, {span}"
    blocks: list[Block] = [
        said(Figure("answer", "the record in words", title, None), Look.TITLE),
        Para(
            f"{words.counted(len(sites), 'site')}, {words.counted(len(months), 'month')}"
            + (" · invented demo data" if published.network.is_invented else ""),
            Look.MUTED,
        ),
    ]
    if facts is None:
        return Section("summary", "In short", (*blocks, Para(NO_RECORD)), is_first=True)
    cases = cases_of_months(facts.cases, months[0], months[-1])
    counted = (
        ("verdicts", "verdicts", len(verdicts)),
        ("met", "met", n[Compliance.MET]),
        ("not_met", "not met", n[Compliance.NOT_MET]),
        ("none", "no evidence", n[Compliance.NO_EVIDENCE]),
        ("cases", "nonconformities", len(cases)),
        ("lines", "lines of the trail", facts.trail.n_rows if facts.trail else 0),
    )
    figures = tuple(
        Figure(name, label, words.whole(count), float(count)) for name, label, count in counted
    )
    blocks += [FigureRow(figures), Para(LEGEND, Look.SMALL), Contents()]
    return Section("summary", "In short", tuple(blocks), is_first=True)


def _matrices(
    published: Published, facts: PackFacts | None, sites: Sequence[str], months: Sequence[date]
) -> Iterator[Section]:
    """For each site: requirement × month, then what was found where it was not met."""
    for site_id in sites:
        title = f"Requirements: {site_name(published.network, site_id)}"
        own = _of(facts.verdicts, site_id) if facts else []
        if not own:
            yield Section(f"site-{site_id}", title, (Para(NO_RECORD, Look.SMALL),))
            continue
        blocks: list[Block] = []
        for at in range(0, len(months), A_ROW):
            blocks.append(_matrix(title, own, months[at : at + A_ROW]))
        blocks.append(Para(LEGEND, Look.NOTE))
        found = _found(own)
        if found:
            head = "What was found where a requirement was not met, or had no evidence"
            headings = ("Requirement", "Answer", "Found", "Months")
            blocks += [Head(head), Grid(head, headings, found, (24, 13, 40, 23))]
        yield Section(f"site-{site_id}", title, tuple(blocks), room=200.0)


def _matrix(title: str, own: Sequence[Verdict], months: Sequence[date]) -> Grid:
    by_key = {(one.requirement.id, one.month): one for one in own}
    titles = {one.requirement.id: one.requirement.title for one in own}
    rows = tuple(
        (
            (Para(titles[requirement_id], Look.SMALL), Para(requirement_id, Look.NOTE)),
            *(_cell(by_key.get((requirement_id, month))) for month in months),
        )
        for requirement_id in sorted(titles)
    )
    headings = ("Requirement", *(short_month(month) for month in months))
    # Columns are as wide as in a full row, so that months of all years stand alike.
    shares = (121.0, *(32.0 for _ in months))
    filler = 505.0 - sum(shares)
    if filler > 1.0:
        return Grid(title, (*headings, ""), tuple((*row, "") for row in rows), (*shares, filler))
    return Grid(title, headings, rows, shares)


def _cell(verdict: Verdict | None) -> Cell:
    if verdict is None:
        return "–"
    return Mark(MARKS[verdict.answer], SHORT[verdict.answer], is_close=True)


def _found(own: Sequence[Verdict]) -> tuple[tuple[Cell, ...], ...]:
    """One row for each requirement and finding, with the months that it holds for."""
    groups: dict[tuple[str, str, str, Compliance], list[date]] = {}
    for one in own:
        if one.answer is not Compliance.MET:
            asked = one.requirement
            key = (asked.title, asked.full_id, one.found.sentence, one.answer)
            groups.setdefault(key, []).append(one.month)
    return tuple(
        (
            (Para(title, Look.SMALL), Para(full_id, Look.NOTE)),
            Mark(MARKS[answer], str(answer)),
            Para(sentence, Look.SMALL),
            Para(_spans(months), Look.SMALL),
        )
        for (title, full_id, sentence, answer), months in groups.items()
    )


def _spans(months: Sequence[date]) -> str:
    """Example: 'Nov 25 to Jan 26, Mar 26'"""
    spans: list[list[date]] = []
    for month in sorted(months):
        if spans and add_months(spans[-1][-1], 1) == month:
            spans[-1].append(month)
        else:
            spans.append([month])
    return ", ".join(
        short_month(one[0]) + (f" to {short_month(one[-1])}" if len(one) > 1 else "")
        for one in spans
    )


def _rules(
    published: Published, facts: PackFacts | None, months: Sequence[date], made: Provenance
) -> Section:
    """Criteria sets and grade tables by their days, documents under control, requirements."""
    network = published.network
    prints = {one.id: one.fingerprint for one in (*made.criteria, *made.grade_tables)}
    rows: list[tuple[Cell, ...]] = [
        (
            Para(f"{what} {one.id}", Look.SMALL),
            f"{one.from_day}",
            Para(prints.get(one.id, "not in force in these months"), Look.SMALL),
        )
        for what, some in (
            ("Criteria set", network.criteria),
            ("Grade table", network.grade_tables),
        )
        for one in some
    ]
    blocks: list[Block] = [
        Grid("In force", ("Rules", "From", "Fingerprint"), tuple(rows), (46, 18, 36)),
        Head("Documents under control"),
    ]
    documents = document_rows(facts.documents, on=_last_day(months[-1])) if facts else ()
    if documents:
        headings = ("Document", "Title", "State", "In force", "Approved by", "Read by")
        lines = tuple(tuple(Para(text, Look.SMALL) for text in row) for row in documents)
        blocks.append(Grid("Documents", headings, lines, (20, 24, 14, 16, 15, 11)))
    else:
        blocks.append(Para("No document was put under control.", Look.SMALL))
    asked = {one.requirement.full_id: one.requirement for one in facts.verdicts} if facts else {}
    if asked:
        cells = tuple(
            (
                (Para(one.title, Look.SMALL), Para(key, Look.NOTE)),
                Para(one.asks, Look.SMALL),
                Para(one.clause_words, Look.SMALL),
            )
            for key, one in sorted(asked.items())
        )
        head = "What is asked"
        grid = Grid(head, ("Requirement", head, "Clause"), cells, (24, 44, 32))
        blocks += [Head(head), grid]
    blocks.append(Para(REQUIREMENTS_CAUTION, Look.NOTE))
    return Section("rules", "Rules and documents in force", tuple(blocks), room=150.0)


def _last_day(month: date) -> date:
    return add_months(month, 1) - timedelta(days=1)


def _competence(
    published: Published, facts: PackFacts | None, sites: Sequence[str], month: date
) -> Section:
    """Where each operator stands at the end of the span."""
    title = "Competence"
    if facts is None:
        return Section("competence", title, (Para(NO_RECORD, Look.SMALL),))
    practice = operator_practice(published.frame("monthly_counts"), month=month)
    rows = []
    for person in published.network.operators:
        if person.site not in sites or person.id not in practice:
            continue
        one = operator_standing(
            person.id,
            facts.files.get(person.id),
            practice[person.id],
            settings=published.network.settings,
            on=_last_day(month),
        )
        rows.append(
            (
                (
                    Para(short_operator_name(published.network, person.id), Look.SMALL),
                    Para(site_name(published.network, person.site), Look.NOTE),
                ),
                Para(one.stage.value, Look.SMALL),
                Figure(f"practice.{person.id}", "exams", words.whole(one.n_exams), None),
                Figure(f"practice.{person.id}.year", "year", words.whole(one.n_year), None),
                Para("; ".join(one.authorised) or "none in force", Look.SMALL),
                Para("; ".join(one.lacks) or "nothing", Look.SMALL),
            )
        )
    if not rows:
        none = f"No operator has exams up to {month_name(month)}."
        return Section("competence", title, (Para(none, Look.SMALL),))
    headings = ("Operator", "Stage", "Exams", "12 months", "Authorised", "Lacks")
    lead = f"As on {_last_day(month)}, by the files of operators and published counts."
    grid = Grid(title, headings, tuple(rows), (19, 14, 9, 11, 25, 22))
    return Section("competence", title, (Para(lead, Look.SMALL), grid), room=150.0)


def _trail(facts: PackFacts | None) -> Section:
    title = "The trail, verified"
    if facts is None or facts.trail is None:
        return Section("trail", title, (Para(NO_RECORD, Look.SMALL),))
    trail = facts.trail
    walked = (
        f"{words.counted(trail.n_rows, 'line')} walked up to {facts.known_at:%Y-%m-%d %H:%M} UTC"
    )
    if trail.faults:
        text = f"{walked}; {words.counted(len(trail.faults), 'fault')} found."
    else:
        text = (
            f"{walked}: each follows from the line before it, and every event is as it was "
            "recorded."
        )
    blocks: list[Block] = [
        said(Figure("trail", "trail", text, float(trail.n_rows))),
        *(Para(fault, Look.SMALL) for fault in trail.faults),
    ]
    if facts.head:
        blocks.append(Para(f"Hash of the newest line: {facts.head}", Look.SMALL))
    below = (
        "The trail is a chain of hashes. Whoever kept a head outside can hold this one against it "
        "with 'elastoqa trail verify'."
    )
    return Section("trail", title, (*blocks, Para(below, Look.NOTE)))
