"""Items to decide: finding, evidence, chart, most likely cause, what to do."""

from collections.abc import Mapping, Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.addresses import Download, Form, Page, address
from dashboard.components.basics import facts, link, wild
from dashboard.components.charts import chart_figure
from dashboard.components.decide import decide_forms, decided_line, may_decide
from dashboard.components.exams import exams_behind, exams_of_chart
from dashboard.selection import Context
from qa.model.permissions import Permission, may
from qa.model.words import UnitKind
from qa.views import words
from qa.views.explain import explained_ids
from qa.views.false_share import FalseShareRow
from qa.views.followup import Decided, decided_items
from qa.views.worklist import WorkItem


def worklist(
    items: Sequence[WorkItem],
    *,
    context: Context,
    id: str,
    decided: Mapping[str, Decided] | None = None,
) -> Component:
    """Numbered within the list, most exams at stake first.

    Args: decided: what was decided about each; then the list can be decided in place. None: it
        is shown, and leads to the plain page.
    """
    return html.Ol(
        [_item(number, item, context, decided) for number, item in enumerate(items, start=1)],
        id=id,
        className="worklist" if decided is None else "worklist deciding",
    )


def overview(
    items: Sequence[WorkItem], *, decided: Mapping[str, Decided] | None = None
) -> Component:
    """All items in one line each, with what was decided; a click leads to what stands below."""
    return html.Ol(
        [
            html.Li(
                [
                    html.Span(str(number), className="rank", **wild(aria_hidden="true")),
                    html.P(
                        [
                            html.A(item.finding, href=f"#item-{number}"),
                            html.Span(f". {item.stake_text}.", className="muted"),
                            _short(item, decided),
                        ]
                    ),
                ]
            )
            for number, item in enumerate(items, start=1)
        ],
        className="worklist short",
    )


def _short(item: WorkItem, decided: Mapping[str, Decided] | None) -> Component | None:
    """The decision in two or three words; an open one is the bold one."""
    if decided is None:
        return None
    known = decided.get(item.item_id)
    if known is None:
        return html.Span([" ", html.Strong("to decide")])
    return html.Span([" ", known.short or "decided"], className="muted done")


def _decision(
    number: int, item: WorkItem, context: Context, decided: Mapping[str, Decided] | None
) -> Component | None:
    """What was decided about an item, or the way to decide."""
    desk = context.desk
    if desk is None:
        return None
    if decided is None:
        known = decided_items(desk.cases(), desk.reviews(), on=desk.today).get(item.item_id)
    else:
        known = decided.get(item.item_id)
    if known is not None:
        return decided_line(item, known, number, context)
    if decided is not None and may_decide(context):
        return decide_forms(item, number, context)
    if not may(desk.actor, Permission.WORK_CASES, site_id=item.site_id):
        return html.P("Not decided yet.", className="decision muted")
    href = address(Form.OPEN_CASE, prefix=context.prefix, item=item.item_id)
    decide = html.A("Decide: open a case, or do not pursue it", href=href)
    return html.P(decide, className="decision")


def _item(
    number: int, item: WorkItem, context: Context, decided: Mapping[str, Decided] | None
) -> Component:
    return html.Li(
        [
            html.Span(str(number), className="rank", **wild(aria_hidden="true")),
            html.Article(
                [
                    html.H3(item.finding, id=f"item-{number}", tabIndex="-1"),
                    html.P(f"{item.stake_text}.", className="sub"),
                    _chart(item, context),
                    item_facts(item),
                    html.Details([html.Summary("Evidence"), html.P(item.evidence)]),
                    _also(item),
                    _decision(number, item, context, decided),
                    html.P(
                        [
                            link(_where(item), unit_address(item, context)),
                            _why(item, context),
                            _exams(item, context),
                            html.Span("Methods:", className="muted"),
                            *(
                                link(rule, context.to(Page.METHODS, anchor=rule), css="quiet")
                                for rule in item.rules
                            ),
                            link(
                                item.measure_id,
                                context.to(Page.METHODS, anchor=item.measure_id),
                                css="quiet",
                            ),
                        ],
                        className="links",
                    ),
                ]
            ),
        ]
    )


def item_facts(item: WorkItem) -> Component:
    """When, how sure, what it may be, what to look at, what it is not: beside each other."""
    pairs = (
        ("Since when", f"{item.since_text}."),
        ("How sure", item.how_sure),
        ("Most likely", words.as_sentence(item.likely)),
        ("Next", words.as_sentence(item.suggestion)),
        ("Probably not", item.probably_not),
    )
    return facts(tuple(pair for pair in pairs if pair[1]), css="facts two")


def _why(item: WorkItem, context: Context) -> Component | None:
    """Where the change at the item's site is shared out; the network's is not."""
    if Page.EXPLAIN not in context.pages or item.site_id is None:
        return None
    if item.measure_id not in explained_ids(context.published):
        return None
    query = {"site": item.site_id, "measure": item.measure_id}
    return link("Why it moved", context.to(Page.EXPLAIN, **query))


def _exams(item: WorkItem, context: Context) -> Component | None:
    """The exams at stake, since the change began."""
    href = exams_behind(
        context,
        unit_kind=item.unit_kind,
        unit_id=item.unit_id,
        measure_id=item.measure_id,
        since=f"{item.since:%Y-%m}",
    )
    is_whole = item.unit_kind == UnitKind.NETWORK
    return link("Exams at stake", href) if href and not is_whole else None


def _where(item: WorkItem) -> str:
    place = "Operators" if item.unit_kind == UnitKind.OPERATOR else "Sites"
    return f"{item.unit_name} on {place}"


def short_worklist(
    items: Sequence[WorkItem],
    *,
    context: Context,
    first: int,
    decided: Mapping[str, Decided] | None = None,
) -> Component:
    """The items that follow, one line each, numbered on; the chart is one click away."""
    return html.Ol(
        [
            html.Li(
                [
                    html.Span(str(number), className="rank", **wild(aria_hidden="true")),
                    html.Div(
                        [
                            html.P(
                                [
                                    link(item.finding, unit_address(item, context)),
                                    html.Span(f". {item.stake_text}.", className="muted"),
                                ],
                                id=f"item-{number}",
                                tabIndex="-1",
                            ),
                            _decision(number, item, context, decided),
                        ]
                    ),
                ]
            )
            for number, item in enumerate(items, start=first)
        ],
        start=str(first),
        className="worklist short" if decided is None else "worklist short deciding",
    )


def _chart(item: WorkItem, context: Context) -> Component | None:
    if item.chart is None:
        return None
    kind, unit_id = item.chart_unit
    unit = {kind: unit_id} if kind != UnitKind.NETWORK else {}
    return chart_figure(
        item.chart,
        csv=context.to(Download.CHART, measure=item.measure_id, **unit),
        methods=context.to(Page.METHODS, anchor="rules"),
        title=False,
        exams=exams_of_chart(item.chart, context),
    )


def _also(item: WorkItem) -> Component | None:
    if not item.also:
        return None
    return html.P(f"The same cause also shows at: {words.listed(item.also)}.", className="note")


def unit_address(row: WorkItem | FalseShareRow, context: Context) -> str:
    """An operator's own screen; for other units that of the site."""
    if row.unit_kind == UnitKind.OPERATOR:
        return context.to(Page.OPERATORS, measure=row.measure_id, operator=row.unit_id)
    return context.to(Page.SITE, site=row.site_id, measure=row.measure_id)
