"""Items to decide: finding, evidence, chart, most likely cause, what to do."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.addresses import Download, Page
from dashboard.components.basics import facts, link, wild
from dashboard.components.charts import chart_figure
from dashboard.selection import Context
from qa.model.words import UnitKind
from qa.views import words
from qa.views.worklist import WorkItem


def worklist(items: Sequence[WorkItem], *, context: Context, id: str) -> Component:
    """Numbered within the list, most exams at stake first."""
    return html.Ol(
        [_item(number, item, context) for number, item in enumerate(items, start=1)],
        id=id,
        className="worklist",
    )


def _item(number: int, item: WorkItem, context: Context) -> Component:
    return html.Li(
        [
            html.Span(str(number), className="rank", **wild(aria_hidden="true")),
            html.Article(
                [
                    html.H3(item.finding),
                    html.P(f"{item.stake_text}.", className="sub"),
                    _chart(item, context),
                    html.P(item.evidence, className="note"),
                    facts(
                        (
                            ("Most likely", words.as_sentence(item.likely)),
                            ("Suggested", words.as_sentence(item.suggestion)),
                        ),
                        css="facts two",
                    ),
                    _also(item),
                    html.P(
                        [
                            link("Evidence", evidence_address(item, context)),
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


def short_worklist(items: Sequence[WorkItem], *, context: Context, first: int) -> Component:
    """The items that follow, one line each, numbered on; the chart is one click away."""
    return html.Ol(
        [
            html.Li(
                [
                    html.Span(str(number), className="rank", **wild(aria_hidden="true")),
                    html.P(
                        [
                            link(item.finding, evidence_address(item, context)),
                            html.Span(f". {item.stake_text}.", className="muted"),
                        ]
                    ),
                ]
            )
            for number, item in enumerate(items, start=first)
        ],
        start=str(first),
        className="worklist short",
    )


def _chart(item: WorkItem, context: Context) -> Component | None:
    if item.chart is None:
        return None
    unit = {item.unit_kind: item.unit_id} if item.unit_kind != UnitKind.NETWORK else {}
    return chart_figure(
        item.chart,
        csv=context.to(Download.CHART, measure=item.measure_id, **unit),
        methods=context.to(Page.METHODS, anchor="rules"),
        title=False,
    )


def _also(item: WorkItem) -> Component | None:
    if not item.also:
        return None
    return html.P(f"The same exams also show at: {words.listed(item.also)}.", className="note")


def evidence_address(item: WorkItem, context: Context) -> str:
    """The screen of the unit with this measure's chart."""
    if item.unit_kind == UnitKind.OPERATOR:
        return context.to(Page.OPERATORS, measure=item.measure_id, operator=item.unit_id)
    return context.to(Page.SITE, site=item.site_id, measure=item.measure_id)
