"""Grades: has the mix moved?"""

from dataclasses import replace
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Page
from dashboard.components.bands import band_bars, band_key, band_table
from dashboard.components.basics import file_link, link, section
from dashboard.components.charts import chart_figure, graph
from dashboard.components.choices import select
from dashboard.components.shell import screen
from dashboard.components.tables import table
from dashboard.curve_figure import curve_figure
from dashboard.selection import Context
from qa.views import words
from qa.views.grade_detail import TableBeside
from qa.views.grades import GradesView, grades_view
from qa.views.value_curves import CurvesView


def layout(context: Context) -> Component:
    chosen = context.selection
    view = grades_view(
        context.published,
        month=chosen.month,
        table_id=chosen.table_id,
        site_id=chosen.site_id,
        chart_months=chosen.period,
    )
    parts = (
        []
        if view.table is None
        else [
            _why(view, context),
            _by_site(view, context),
            _over_time(view, context),
            *_detail(view),
        ]
    )
    return screen(
        context,
        Page.GRADES,
        answer=view.answer,
        subline=view.subline,
        children=[_caution(view, context), _choices(view, context), *parts],
    )


def _caution(view: GradesView, context: Context) -> Component:
    return html.Div(
        [
            html.P(view.caution),
            html.P(
                [
                    view.table_text,
                    " ",
                    link("How bands are made", context.to(Page.METHODS, anchor=view.table.id)),
                ]
            )
            if view.table
            else None,
        ],
        id=ids.Grades.CAUTION,
        className="caution",
        role="note",
    )


def _choices(view: GradesView, context: Context) -> Component:
    def here(**changes: Any) -> str:
        return context.here(Page.GRADES, **changes)

    tables = [(item.title, here(table=item.id)) for item in view.tables]
    sites = [("All sites", here(site=None))]
    sites += [(site.name, here(site=site.id)) for site in context.published.network.sites]
    shown = here(table=view.table.id) if view.table else here()
    return html.Div(
        [
            select("Table", tables, chosen=shown) if tables else None,
            select("History of", sites, chosen=here()),
        ],
        className="choices",
    )


def _why(view: GradesView, context: Context) -> Component | None:
    if not view.why:
        return None
    rows = [
        html.P(
            [
                one.sentence,
                " ",
                link(
                    "The evidence",
                    context.to(Page.EXPLAIN, site=one.site_id, measure=one.measure_id),
                ),
            ]
        )
        for one in view.why
    ]
    return section("Has it moved, and why?", *rows, id=ids.Grades.WHY)


def _detail(view: GradesView) -> list[Component]:
    detail = view.detail
    if detail is None or view.table is None:
        return []
    beside = [part for one in detail.tables for part in _table_beside(one)]
    values = [(one.name, words.whole(one.n), *one.quantiles) for one in detail.values]
    headings = ("", "Exams", "10 %", "25 %", "Median", "75 %", "90 %")
    return [
        section(
            f"{view.over_time_of}: bands by operator and device",
            band_key(view.table.labels),
            band_bars(detail.members),
            html.Details(
                [
                    html.Summary("Table with intervals"),
                    band_table("Bands by operator and device", detail.members),
                ]
            ),
            html.Details(
                [
                    html.Summary("Month by month"),
                    band_table("Bands month by month", detail.by_month),
                ]
            ),
            id=ids.Grades.MEMBERS,
            note=view.period_text,
        ),
        section(
            f"{view.over_time_of}: values",
            *(part for one in detail.curves for part in _curves(one)),
            table("Quantiles of values", headings, values, numeric=tuple(range(1, 7))),
            id=ids.Grades.VALUES,
            note=f"{view.period_text} One technique at a time; so many exams lie at or below.",
        ),
        section(
            "The same exams by each table", *beside, id=ids.Grades.TABLES, note=detail.sentence
        ),
    ]


def _curves(view: CurvesView) -> list[Component]:
    text = "Full line: the period; dashed: as many months before; dotted: edges of the bands."
    return [
        html.H3(f"{view.title}: share at or below"),
        graph(curve_figure(view), "300px"),
        html.P(text, className="note"),
    ]


def _table_beside(one: TableBeside) -> list[Component]:
    title = one.table.title + (", in force" if one.is_in_force else "")
    text = f"{one.table.id}. Source: {one.table.source.strip()} ({one.table.confidence})."
    return [
        html.H3(title),
        html.P(text, className="note"),
        band_key(one.table.labels),
        band_bars((replace(one.bar, label=one.table.id),)),
        table(f"At or above each edge, {one.table.id}", ("", "Share of exams"), one.reached),
    ]


def _by_site(view: GradesView, context: Context) -> Component:
    assert view.table is not None
    return section(
        f"{view.table.title}: bands by site",
        band_key(view.table.labels),
        band_bars(view.by_site),
        html.Details(
            [
                html.Summary("Table with intervals"),
                html.P(file_link("CSV", context.here(Download.GRADES, table=view.table.id))),
                band_table(f"Bands by site. {view.period_text}", view.by_site),
            ]
        ),
        html.P(view.apart, className="note") if view.apart else None,
        id=ids.Grades.BY_SITE,
        note=f"{view.period_text} Share of exams in each band, in percent. "
        "Other patients alone move the mix.",
    )


def _over_time(view: GradesView, context: Context) -> Component:
    assert view.table is not None
    return section(
        f"{view.over_time_of}: bands over time",
        band_key(view.table.labels),
        band_bars(view.over_time),
        html.Details(
            [
                html.Summary("Table with intervals"),
                band_table(f"{view.over_time_of}: bands over time", view.over_time),
            ]
        ),
        chart_figure(
            view.chart,
            csv=context.here(Download.CHART, measure=view.chart.measure_id),
            methods=context.to(Page.METHODS, anchor="rules"),
        )
        if view.chart
        else None,
        html.P("The chart counts every technique by the table in force for it.", className="note"),
        id=ids.Grades.OVER_TIME,
    )
