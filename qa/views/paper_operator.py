"""The letter to one operator: one page, kind and concrete."""

from collections.abc import Sequence

from qa.model.errors import PackError
from qa.model.months import month_name
from qa.model.pack_request import PackRequest
from qa.model.published import Published
from qa.model.words import PointState
from qa.views import words
from qa.views.exams import exams_to_look_at
from qa.views.operators import OperatorView, operator_view
from qa.views.pack import chart_figures
from qa.views.pack_exams import PackExam, pack_exams
from qa.views.pack_facts import PackFacts
from qa.views.pack_record import Provenance, provenance_of
from qa.views.paper import (
    Block,
    ChartBlock,
    FigureRow,
    Grid,
    Head,
    Look,
    Paper,
    Para,
    Section,
    WideChart,
    said,
)
from qa.views.paper_site import shown_network
from qa.views.scope import criteria_of_month
from qa.views.shown import ChartView, Figure
from qa.views.worklist import WorkItem

MONTHS = 24
MOST_EXAMS = 4
LAST = (
    "Exams come out as they do for many reasons: the patient, the probe, the time there was. If "
    "you see one that we do not, please say so; your view belongs into the record."
)
OF_LEAD = "Sit in on a few exams."
OF_OPERATOR = "Ask your site lead to sit in on a few of your exams."
THANKS = "Thank you for your work this month."


def operator_paper(
    published: Published,
    request: PackRequest,
    facts: PackFacts | None,
    number: int,
    software: str,
) -> Paper:
    """Raises: PackError: there is no such operator."""
    network = published.network
    if network.operator(request.unit_id) is None:
        raise PackError(
            f"there is no operator '{request.unit_id[:60]}' in {network.name}",
            expected="an operator's id as network.toml has it",
            todo="Check the id, or add the operator to network.toml and run 'elastoqa refresh'",
            code="PCK-010",
        )
    view = operator_view(published, operator_id=request.unit_id, month=request.month, months=MONTHS)
    exams = published.frame("exams", operator_id=request.unit_id, month=request.month)
    shown = pack_exams(published, exams_to_look_at(published, exams), exams)
    criteria_id = criteria_of_month(network, request.month)
    made = provenance_of(
        published, file_months=(), criteria_ids=set(), site_id=view.site_id, has_rules=False
    )
    name, author = request.name(number), shown_network(network)
    return Paper(
        request=request,
        name=name,
        title=f"{view.name}, {month_name(request.month)}: letter {name}",
        subject=view.answer,
        author=author,
        left=f"{view.name}, {view.site_name} · {month_name(request.month)}",
        right=author,
        is_invented=network.is_invented,
        criteria_id=criteria_id,
        made=made,
        sections=(_letter(view, request, shown, made=made, software=software),),
    )


def _letter(
    view: OperatorView,
    request: PackRequest,
    exams: Sequence[PackExam],
    *,
    made: Provenance,
    software: str,
) -> Section:
    when = month_name(request.month)
    n = _n_exams(view, request)
    blocks: list[Block] = [
        said(Figure("answer", "the month in words", _headline(view, n, when), None), Look.TITLE),
        Para(f"Dear {view.name},", Look.BODY),
        Para(_opening(view, request, n), Look.BODY),
    ]
    figures = tuple(_figure(chart, request) for chart in view.charts[:6])
    if n:
        blocks.append(FigureRow(figures))
    blocks += _one_thing(view, request) if view.items else _steady(view, request, n)
    if exams:
        blocks += _exams(exams)
    blocks += [
        Para(f"{LAST} {THANKS}" if n else LAST),
        Para("Your site lead and the network's quality manager"),
        Para(
            f"Made from snapshot {made.snapshot_id} by elastography-qa {software}. Rates are as "
            "found, with Wilson 95 % intervals; what is expected allows for the patients seen. "
            "This letter is about how exams were done, and about nothing else.",
            Look.NOTE,
        ),
    ]
    return Section("summary", "The letter", tuple(blocks), is_first=True)


def _n_exams(view: OperatorView, request: PackRequest) -> int:
    return max(
        (
            point.n
            for chart in view.charts
            for point in chart.points[-1:]
            if point.month == request.month
        ),
        default=0,
    )


def _headline(view: OperatorView, n: int, when: str) -> str:
    if not n:
        return f"No exam of yours has reached us for {when}."
    if not view.items:
        return f"Your exams of {when}: nothing to change."
    return f"Your exams of {when}: one thing to work on."


def _opening(view: OperatorView, request: PackRequest, n: int) -> str:
    when = month_name(request.month)
    if not n:
        return (
            f"we have no exams of {when} from you. If you did some, please tell your site lead, so "
            "that they are not missing from your file."
        )
    steady = [
        words.lower_first(chart.measure_title)
        for chart in view.charts
        for point in chart.points[-1:]
        if point.month == request.month and point.state == PointState.STEADY
    ]
    told = f"you did {words.counted(n, 'exam')} in {when}."
    if steady:
        is_are = "is" if len(steady) == 1 else "are"
        told += f" As before, {words.listed(steady)} {is_are} where they should be."
    return told.replace("is where they", "is where it")


def _figure(chart: ChartView, request: PackRequest) -> Figure:
    last = [point for point in chart.points if point.month == request.month]
    name = f"operator.{chart.unit_id}.{chart.measure_id}"
    if not last:
        return Figure(name, words.lower_first(chart.short_title), "no data", None)
    point = max(last, key=lambda one: one.n)
    centre = f"expected {words.percent(point.centre)}" if point.centre is not None else ""
    return Figure(
        name,
        words.lower_first(chart.short_title),
        words.percent(point.value),
        point.value,
        point.n,
        words.interval(point.lower, point.upper),
        centre,
    )


def _one_thing(view: OperatorView, request: PackRequest) -> list[Block]:
    """The first item only: one thing at a time can be worked on."""
    item: WorkItem = view.items[0]
    chart = next((one for one in view.charts if one.measure_id == item.measure_id), None)
    blocks: list[Block] = []
    if chart is not None:
        block = ChartBlock(chart, chart_figures(chart, request.month))
        blocks.append(WideChart(block, request.month, is_lead=True))
    likely = words.as_sentence(f"most likely {item.likely}")
    asked = item.suggestion.replace(OF_LEAD, OF_OPERATOR)
    blocks += [Head("What may help"), Para(f"{likely} {asked}")]
    if len(view.items) > 1:
        others = words.listed([words.lower_first(one.measure_title) for one in view.items[1:]])
        blocks.append(Para(f"Later, not now: {others}.", Look.SMALL))
    return blocks


def _steady(view: OperatorView, request: PackRequest, n: int) -> list[Block]:
    chart = view.charts[0] if view.charts else None
    if chart is None or not n:
        return []
    block = ChartBlock(chart, chart_figures(chart, request.month))
    return [
        WideChart(block, request.month, is_lead=True),
        Para("Please keep doing what you do."),
    ]


def _exams(exams: Sequence[PackExam]) -> list[Block]:
    """A few exams to look at again; without a result and without a patient."""
    rows = tuple(
        (
            one.day,
            Para(f"{one.file_name}, row {one.row_no}", Look.SMALL),
            Para(one.why, Look.SMALL, Figure(f"exam.{one.key}", one.outcome, one.why, None)),
        )
        for one in exams[:MOST_EXAMS]
    )
    more = len(exams) - len(rows)
    title = "Exams you may want to look at again"
    blocks: list[Block] = [Head(title), Grid(title, ("Day", "Where", "Why"), rows, (12, 36, 52))]
    if more > 0:
        blocks.append(Para(f"{more} more stand in the site's pack.", Look.NOTE))
    return blocks
