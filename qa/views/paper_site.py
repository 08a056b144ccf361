"""The site pack as a document: one site's month in sections, in the order of reading."""

from qa.model.definitions import GRADE_CAUTION, Network
from qa.model.pack_request import PackRequest
from qa.model.words import PointState, UnitKind
from qa.views import words
from qa.views.pack import SitePack
from qa.views.pack_facts import PackFacts
from qa.views.paper import (
    Block,
    ChartPairs,
    Evidence,
    FigureRow,
    Funnel,
    Grades,
    Grid,
    Head,
    Heat,
    Look,
    Paper,
    Para,
    Section,
    WideChart,
    said,
)
from qa.views.paper_cases import case_section
from qa.views.paper_equipment import equipment_section
from qa.views.paper_methods import caution_section, method_section, provenance_section
from qa.views.paper_requirements import site_requirement_section
from qa.views.paper_told import told_section
from qa.views.shown import Figure

INVENTED = "invented demo data"
NOTHING_CHANGED = "Nothing changed against the month before."
NOTHING_ASKED = "Nothing is asked this month."
CHART_NOTE = (
    "Tinted: where months lie while nothing but chance is at work. A filled diamond lies "
    "outside and asks for a look, a hollow diamond is to watch, a ring has too few exams."
)
HEAT_NOTE = (
    "Filled diamond: look. Hollow diamond: watch. Dot: steady. Ring: too few exams for a verdict. "
    "Wilson 95 % intervals. Rates are as found; marks allow for the patients seen where the "
    "methods say so."
)


def site_paper(
    pack: SitePack, facts: PackFacts | None, *, request: PackRequest, number: int, software: str
) -> Paper:
    """One site's month.

    Args:
        facts: what people recorded; None: the network keeps no record, and the pack says so.
        number: of the issue. software: version that draws it.
    """
    name = request.name(number)
    site = pack.site
    network = shown_network(pack.network)
    sections = (
        _summary(pack),
        _charts(pack),
        _operators(pack),
        _repeats(pack),
        _grades(pack),
        _exams(pack),
        equipment_section(pack.equipment, site.devices),
        case_section(facts, pack.network, from_month=site.month, to_month=site.month),
        told_section(pack.restated, n_told=len(facts.told) if facts else 0),
        site_requirement_section(facts, month=site.month),
        method_section(pack.methods, pack.provenance),
        caution_section(),
        provenance_section(pack.provenance, facts, pack_name=name, software=software),
    )
    return Paper(
        request=request,
        name=name,
        title=f"{site.site_name}, {site.month_text}: audit pack {name}",
        subject=site.answer,
        author=network,
        left=f"{site.site_name} · {site.month_text}",
        right=network,
        is_invented=pack.network.is_invented,
        criteria_id=site.criteria_id,
        made=pack.provenance,
        sections=sections,
    )


def shown_network(network: Network) -> str:
    """Example: 'Harrow Isles Liver Network · invented demo data'"""
    plain = network.name.removesuffix(" (invented)")
    return f"{plain} · {INVENTED}" if network.is_invented else network.name


def _summary(pack: SitePack) -> Section:
    """The month in words, six figures, the chart that matters, changes, and asks."""
    blocks: list[Block] = [
        said(pack.answer, Look.TITLE),
        Para(pack.site.subline, Look.MUTED),
        FigureRow(pack.site.figures),
    ]
    if pack.lead_chart:
        blocks.append(WideChart(pack.lead_chart, pack.site.month, is_lead=True))
    blocks.append(Head("What changed"))
    if not pack.changes:
        blocks.append(Para(NOTHING_CHANGED))
    blocks += [
        said(Figure(f"change.{i}", "what changed", text, None))
        for i, text in enumerate(pack.changes)
    ]
    blocks.append(Head("What is asked of whom"))
    if not pack.asks:
        return _first([*blocks, Para(NOTHING_ASKED)])
    rows = tuple(
        (
            Para(ask.what, Look.SMALL),
            Para(ask.who, Look.SMALL),
            Para(ask.by, Look.SMALL),
            Para(ask.why, Look.SMALL, Figure(f"ask.{i}", "asked", ask.why, None)),
        )
        for i, ask in enumerate(pack.asks)
    )
    headings = ("What", "Who", "By", "Why")
    return _first([*blocks, Grid("What is asked of whom", headings, rows, (44, 18, 13, 25))])


def _first(blocks: list[Block]) -> Section:
    return Section("summary", "The month in words", tuple(blocks), is_first=True)


def _charts(pack: SitePack) -> Section:
    """Charts of the other signals in full width, then every measure of the site, two in a row."""
    blocks: list[Block] = [Para(CHART_NOTE, Look.NOTE)]
    if pack.lead_chart and pack.lead_chart.item:
        blocks.append(Evidence(pack.lead_chart))
    blocks += [WideChart(block, pack.site.month) for block in pack.item_charts]
    quality = tuple(block for block in pack.site_charts if not block.chart.is_grade)
    blocks.append(ChartPairs(quality, pack.site.month))
    return Section("charts", "Control charts", tuple(blocks), room=260.0)


def _operators(pack: SitePack) -> Section:
    """One row for each operator with exams in the month, most urgent first."""
    site = pack.site
    blocks: list[Block]
    if site.operators:
        blocks = [
            Para(operator_sentence(pack)),
            Heat(
                f"Operators of {site.site_name} in {site.month_text}",
                UnitKind.OPERATOR.value,
                site.operators,
                site.operator_measures,
            ),
            Para(HEAT_NOTE, Look.NOTE),
        ]
    else:
        none = f"No exams in {site.month_text}, so there is no operator to show."
        blocks = [Para(none, Look.SMALL)]
    if pack.funnel:
        below = (
            "Each ring is an operator of another site. Tinted: where operators lie while nothing "
            "but chance sets them apart (exact 95 % and 99.8 % limits). "
        )
        blocks.append(Funnel("operators.funnel", pack.funnel, below + pack.funnel.how_text))
    return Section("operators", "Operators", tuple(blocks), room=150.0)


def operator_sentence(pack: SitePack) -> str:
    """What the table says, made from its states."""
    rows = pack.site.operators
    few = (PointState.FEW.value, PointState.LATE.value, "none")
    looks = [row.name for row in rows if row.state == PointState.LOOK]
    n_few = sum(all(cell.state in few for cell in row.cells) for row in rows)
    of_all = f"of {words.counted_word(len(rows), 'operator')} with exams in {pack.site.month_text}"
    if looks:
        asks = "asks" if len(looks) == 1 else "ask"
        names = words.listed(looks[:6]) if len(looks) <= 6 else words.whole(len(looks))
        told = f"{names} {of_all} {asks} for a look"
    else:
        told = f"None {of_all} asks for a look"
    if n_few:
        told += f"; {words.number_word(n_few)} had too few exams for a verdict"
    return told + "."


def _repeats(pack: SitePack) -> Section:
    """Sentences only; the chart of repeats stands among the control charts."""
    told = Figure("repeats.followed_up", "repeats", pack.repeats.sentence, None)
    below = (
        f"A repeat is the same patient again within {pack.repeats.window_days} days after an exam "
        "that was not reliable. A planned follow-up is none. A site that never calls anybody back "
        "shows no repeats, so both numbers stand together. The rate by month is among the control "
        "charts, by operator in the table above."
    )
    return Section("repeats", "Repeats", (said(told), Para(below, Look.NOTE)), room=110.0)


def _grades(pack: SitePack) -> Section:
    """One chart for each table that graded exams of the last year."""
    blocks: list[Block] = [Para(GRADE_CAUTION, Look.SMALL)]
    if not pack.grades:
        blocks.append(Para("No exam of the last twelve months has a grade.", Look.SMALL))
    else:
        blocks += [Grades(block) for block in pack.grades]
        raised = tuple(block for block in pack.site_charts if block.chart.is_grade)
        blocks.append(ChartPairs(raised, pack.site.month))
    return Section("grades", "Grade distribution", tuple(blocks), room=210.0)


def _exams(pack: SitePack) -> Section:
    """Failed exams first, then incomplete ones, then the widest spread."""
    site, n_all = pack.site, len(pack.site.exams)
    title = "Exams to look at"
    if not site.n_exams:
        none = Para(f"No exams in {site.month_text}.", Look.SMALL)
        return Section("exams", title, (none,), room=150.0)
    if not n_all:
        none = Para(f"Every exam judged in {site.month_text} was reliable.", Look.SMALL)
        return Section("exams", title, (none,), room=150.0)
    were = "was" if n_all == 1 else "were"
    lead = f"{words.counted(n_all, 'exam')} of {site.month_text} {were} not reliable."
    if n_all > len(pack.exams):
        lead += f" The {len(pack.exams)} plainest are listed; the Site screen shows all."
    files = sorted({exam.file_name for exam in pack.exams})
    is_one = len(files) == 1
    if is_one:
        lead += f" Rows are those of {files[0]}, counted under its headings."
    rows = tuple(
        (
            exam.key,
            exam.day,
            Para(exam.operator_id, Look.SMALL),
            str(exam.row_no)
            if is_one
            else Para(f"{exam.file_name}, row {exam.row_no}", Look.SMALL),
            Para(exam.outcome, Look.SMALL),
            Para(exam.why, Look.SMALL, Figure(f"exam.{exam.key}", exam.outcome, exam.why, None)),
        )
        for exam in pack.exams
    )
    where = "Row" if is_one else "In the site's file"
    headings = ("Exam", "Day", "Operator", where, "Outcome", "Why")
    widths = (54.0, 38.0, 52.0, 32.0 if is_one else 104.0, 56.0)
    below = (
        "The exam's code is the start of its pseudonym; file and row lead the site to the exam. "
        "No patient is named and no result is shown."
    )
    grid = Grid(title, headings, rows, (*widths, 505.0 - sum(widths)))
    return Section(
        "exams", title, (Para(lead, Look.SMALL), grid, Para(below, Look.NOTE)), room=150.0
    )
