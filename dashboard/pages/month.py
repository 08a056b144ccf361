"""Month: what needs me now?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Page
from dashboard.components.basics import file_link, legend, link, section
from dashboard.components.charts import last_points_table, small_charts
from dashboard.components.choices import links, period_links
from dashboard.components.shell import screen
from dashboard.components.tables import heat_table
from dashboard.components.worklist import short_worklist, worklist
from dashboard.selection import Context
from qa.views import words
from qa.views.month import MonthView, month_view


def layout(context: Context) -> Component:
    chosen = context.selection
    view = month_view(
        context.published,
        month=chosen.month,
        measure_id=chosen.measure_id,
        months=chosen.period,
    )
    return screen(
        context,
        Page.MONTH,
        answer=view.answer,
        subline=view.subline,
        children=[
            html.Div(
                [
                    html.Div(_to_decide(view, context)),
                    html.Aside([_heat(view, context), _intake(view, context)]),
                ],
                className="columns",
            ),
            _multiples(view, context),
        ],
    )


def _to_decide(view: MonthView, context: Context) -> Component:
    csv = file_link("This list as CSV", context.here(Download.WORKLIST))
    if not view.items:
        return section(
            "To decide, by exams at stake",
            html.P("No chart rule fired on a watched measure. All charts stand below."),
            html.P(view.budget_text, className="note"),
            id=ids.Month.WORKLIST,
        )
    charted = [item for item in view.items if item.chart]
    rest = [item for item in view.items if not item.chart]
    return section(
        "To decide, by exams at stake",
        worklist(charted, context=context, id=f"{ids.Month.WORKLIST}-items"),
        short_worklist(rest, context=context, first=len(charted) + 1) if rest else None,
        html.P(view.budget_text, className="note"),
        html.P(csv, className="links"),
        id=ids.Month.WORKLIST,
    )


def _heat(view: MonthView, context: Context) -> Component:
    return section(
        "Sites and measures",
        heat_table(
            f"Sites and measures in {view.month_text}",
            view.heat,
            view.measures,
            row_href=lambda row: context.to(Page.SITE, site=row.unit_id),
            cell_href=lambda row, cell: context.to(
                Page.SITE, site=row.unit_id, measure=cell.measure_id
            ),
        ),
        legend(has_late=True),
        html.P(file_link("This table as CSV", context.here(Download.SITES)), className="links"),
        id=ids.Month.HEAT,
    )


def _intake(view: MonthView, context: Context) -> Component:
    lines = [
        html.P(
            [
                link(item.text, context.to(Page.INTAKE, site=item.site_id)),
                html.Span(f" {item.todo}", className="muted"),
            ]
        )
        for item in view.arrivals
    ]
    return section(
        "Intake",
        *(lines or [html.P("All sites have sent their exams; no row waits in quarantine.")]),
        html.P(link("What came in, month by month", context.to(Page.INTAKE))),
        id=ids.Month.INTAKE,
    )


def _multiples(view: MonthView, context: Context) -> Component:
    measure = view.multiples_measure
    return section(
        f"{measure.title} by site, same scale",
        links(
            "Measure",
            [
                (item.short_title, context.here(Page.MONTH, measure=item.id), item == measure)
                for item in view.measures
            ],
        ),
        period_links(context, Page.MONTH),
        small_charts(
            view.multiples,
            title=lambda chart: chart.unit_name,
            href=lambda chart: context.to(Page.SITE, site=chart.unit_id, measure=measure.id),
            month=view.month,
            is_one_scale=True,
        ),
        html.Details(
            [
                html.Summary(f"Table: {words.lower_first(measure.title)} by site"),
                html.P(file_link("CSV", context.here(Download.CHARTS, measure=measure.id))),
                last_points_table(view.multiples, name=lambda chart: chart.unit_name),
            ]
        ),
        id=ids.Month.MULTIPLES,
    )
