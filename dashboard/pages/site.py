"""Sites: how is this site doing? Without a site: how are they all?"""

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Page
from dashboard.components.basics import file_link, legend, link, section, state_mark
from dashboard.components.charts import chart_figure, last_points_table, small_charts
from dashboard.components.choices import period_links, select
from dashboard.components.devices import devices_section
from dashboard.components.drawn import drawn_sections
from dashboard.components.exams import exams_behind, exams_of_chart, exams_table
from dashboard.components.shell import screen
from dashboard.components.tables import heat_table, table
from dashboard.components.worklist import worklist
from dashboard.noted import noted, notes_below
from dashboard.pack_pages import packs_section
from dashboard.selection import Context
from qa.model.definitions import GRADE_CAUTION
from qa.model.words import PointState, UnitKind
from qa.views import words
from qa.views.shown import ChartView, Figure
from qa.views.site import FIRST_EXAMS, SiteView, site_view
from qa.views.sites import SitesView, sites_view


def layout(context: Context) -> Component:
    chosen = context.selection
    if chosen.site_id is None:
        return _all_sites(sites_view(context.published, month=chosen.month), context)
    view = site_view(
        context.published, site_id=chosen.site_id, month=chosen.month, months=chosen.period
    )
    is_late = view.state == PointState.LATE
    parts = [_late(view) if is_late else _figures(view, context), _items(view, context)]
    parts += [_chart(view, context), *_drawn(view, context), _charts(view, context)]
    if not is_late:
        parts += [_operators(view, context), devices_section(view, context), _exams(view, context)]
    parts.append(packs_section(context, view.site_id))
    return screen(
        context,
        Page.SITE,
        answer=view.answer,
        subline=view.subline,
        children=[_site_choice(context), *parts],
    )


def _all_sites(view: SitesView, context: Context) -> Component:
    rows = [
        (
            link(row.name, context.to(Page.SITE, site=row.site_id)),
            words.whole(row.n_exams),
            row.reliable.text,
            state_mark(row.state),
            words.listed(row.to_look_at) or "–",
            words.listed(row.to_watch) or "–",
        )
        for row in view.rows
    ]
    return screen(
        context,
        Page.SITE,
        answer=view.answer,
        subline=f"All sites in {view.month_text}, most urgent first.",
        children=[
            section(
                "Sites",
                table(
                    f"Sites in {view.month_text}",
                    (
                        "Site",
                        "Exams",
                        "Reliable (95 % interval)",
                        "State",
                        "To look at",
                        "To watch",
                    ),
                    rows,
                    numeric=(1, 2),
                    long=(4, 5),
                ),
                html.P(
                    file_link("All measures of all sites as CSV", context.here(Download.SITES)),
                    className="links",
                ),
                id=ids.Site.LIST,
            )
        ],
    )


def _site_choice(context: Context) -> Component:
    options = [("All sites", context.here(Page.SITE, site=None))] + [
        (site.name, context.here(Page.SITE, site=site.id))
        for site in context.published.network.sites
    ]
    return html.Div(
        [
            select("Site", options, chosen=context.here(Page.SITE)),
            period_links(context, Page.SITE),
        ],
        className="choices",
    )


def _late(view: SiteView) -> Component:
    return html.P(
        f"Nothing can be said about {view.month_text} until the site's export is read. "
        "The charts below end with the last month that was sent."
    )


def _figures(view: SiteView, context: Context) -> Component:
    return html.Dl(
        [_figure(figure, view, context) for figure in view.figures],
        id=ids.Site.FIGURES,
        className="figures",
    )


def _figure(figure: Figure, view: SiteView, context: Context) -> Component:
    under: list[Any] = [figure.interval_text] if figure.interval_text else []
    href = exams_behind(
        context, unit_kind=UnitKind.SITE, unit_id=view.site_id, measure_id=figure.measure_id or None
    )
    if figure.n is not None and figure.interval_text:
        text = f"of {words.counted(figure.n, 'exam')}"
        under.append(link(text, href) if href and figure.n else text)
    elif href and figure.n:
        under.append(link("one by one", href))
    if figure.beside:
        under.append(figure.beside)
    return html.Div(
        [html.Dt(figure.label), html.Dd(figure.text)]
        + [html.Dd(text, className="under") for text in under]
    )


def _items(view: SiteView, context: Context) -> Component | None:
    if not view.items:
        return None
    return section(
        "To decide, by exams at stake",
        worklist(view.items, context=context, id=f"{ids.Site.ITEMS}-list"),
        id=ids.Site.ITEMS,
    )


def _chosen_chart(view: SiteView, context: Context) -> ChartView:
    """The chart asked for; else that of the first item; else the first."""
    wanted = context.selection.measure_id or next((one.measure_id for one in view.items), None)
    return next((one for one in view.charts if one.measure_id == wanted), view.charts[0])


def _chart(view: SiteView, context: Context) -> Component:
    (chart,) = noted(context, [_chosen_chart(view, context)])
    return section(
        chart.measure_title,
        html.P(GRADE_CAUTION, className="caution") if chart.is_grade else None,
        chart_figure(
            chart,
            csv=context.here(Download.CHART, measure=chart.measure_id, operator=None),
            methods=context.to(Page.METHODS, anchor="rules"),
            exams=exams_of_chart(chart, context),
        ),
        notes_below(context, chart, site_id=view.site_id, measure_id=chart.measure_id),
        id=ids.Site.CHART,
    )


def _drawn(view: SiteView, context: Context) -> tuple[Component, Component]:
    return drawn_sections(
        context,
        Page.SITE,
        unit_kind=UnitKind.SITE,
        unit_id=view.site_id,
        measure_id=_chosen_chart(view, context).measure_id,
    )


def _charts(view: SiteView, context: Context) -> Component:
    """Every quality measure; the mixes of results stand on Grades, with their cautions."""
    charts = [chart for chart in view.counting if not chart.is_grade]
    is_short = len(view.counting) < len(view.charts)
    return section(
        "All measures",
        small_charts(
            charts,
            title=lambda chart: chart.measure_title,
            href=lambda chart: context.here(Page.SITE, measure=chart.measure_id),
            month=view.month,
            is_one_scale=False,
        ),
        html.P(
            [
                "Each chart has its own scale. ",
                "Measures that count nothing here are left out. " if is_short else "",
                link("Grade mix of this site", context.to(Page.GRADES, site=view.site_id)),
            ],
            className="note",
        ),
        html.Details(
            [
                html.Summary("Table: all measures of this site"),
                html.P(file_link("CSV", context.here(Download.CHARTS, measure=None))),
                last_points_table(charts, name=lambda chart: chart.measure_title),
            ]
        ),
        id=ids.Site.CHARTS,
    )


def _operators(view: SiteView, context: Context) -> Component:
    return section(
        f"Operators in {view.month_text}",
        heat_table(
            f"Operators and measures in {view.month_text}",
            view.operators,
            view.operator_measures,
            row_href=lambda row: context.to(Page.OPERATORS, operator=row.unit_id),
            cell_href=lambda row, cell: context.to(
                Page.OPERATORS, operator=row.unit_id, measure=cell.measure_id
            ),
        ),
        legend(),
        html.P(view.apart_text, className="note") if view.apart_text else None,
        html.P(
            link(
                "Compare these operators with all others",
                context.to(Page.OPERATORS, site=view.site_id),
            )
        ),
        id=ids.Site.OPERATORS,
    )


def _exams(view: SiteView, context: Context) -> Component:
    if not view.exams:
        return section(
            "Exams to look at",
            html.P(f"Every exam of {view.month_text} that was judged is reliable."),
            id=ids.Site.EXAMS,
        )
    rows = view.exams[:FIRST_EXAMS]
    total = len(view.exams)
    shown = f"{words.counted(len(rows), 'exam')} of {words.whole(total)} that were not reliable"
    return section(
        "Exams to look at",
        exams_table(shown, rows, context),
        html.P(
            [
                f"{shown}, the plainest first. All as ",
                file_link("CSV", context.here(Download.EXAMS)),
            ],
            className="note",
        ),
        id=ids.Site.EXAMS,
    )
