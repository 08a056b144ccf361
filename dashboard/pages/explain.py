"""Why did a measure move at a site? The verdict, then the picture, then the tables."""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Page
from dashboard.components.basics import facts, link, section
from dashboard.components.choices import select
from dashboard.components.parts import part_bars
from dashboard.components.shell import screen
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.views.explain import ExplainView, explain_view, explained_measures


def layout(context: Context) -> Component:
    published, chosen = context.published, context.selection
    measures = explained_measures(published)
    site_id = chosen.site_id or published.network.sites[0].id
    known = {one.id: one for one in measures}
    measure = known.get(chosen.measure_id or "", measures[0])
    view = explain_view(published, site_id=site_id, measure_id=measure.id, month=chosen.month)
    parts = [_parts(view), _weights(view), _members(view), _mix(view), _notes(view)]
    return screen(
        context,
        Page.EXPLAIN,
        answer=view.answer,
        subline=view.subline,
        children=[
            html.P(view.caution, className="caution", id=ids.Explain.CAUTION),
            _choices(view, context),
            *((facts(view.facts, css="facts two"), *parts) if view.is_told else ()),
        ],
    )


def _choices(view: ExplainView, context: Context) -> Component:
    def here(site: str, measure: str) -> str:
        return context.here(Page.EXPLAIN, site=site, measure=measure)

    sites = [(one.name, here(one.id, view.measure.id)) for one in context.published.network.sites]
    measures = [
        (one.title, here(view.site_id, one.id)) for one in explained_measures(context.published)
    ]
    chosen = here(view.site_id, view.measure.id)
    chart = context.to(Page.SITE, site=view.site_id, measure=view.measure.id)
    return html.Div(
        [
            select("Site", sites, chosen=chosen),
            select("Measure", measures, chosen=chosen),
            link(f"Chart of {view.site_name}", chart),
        ],
        className="choices",
    )


def _parts(view: ExplainView) -> Component:
    return section(
        "What the change is made of",
        part_bars(view.parts),
        id=ids.Explain.PARTS,
        note="Percent points; the line is the 95 % interval. Parts add up to the whole.",
    )


def _weights(view: ExplainView) -> Component:
    rows = [(one.name, one.text, one.shift_text) for one in view.weights]
    return section(
        "What may have caused it",
        table("Explanations", ("If one thing moved", "How likely", "Its change"), rows),
        id=ids.Explain.WEIGHTS,
    )


def _members(view: ExplainView) -> Component:
    rows = [
        (one.label, one.before_text, one.n_before_text, one.after_text, one.n_after_text)
        for one in view.members
    ]
    headings = ("", "Before", "Exams", "After", "Exams")
    return section(
        "Before and after",
        table("Before and after", headings, rows, numeric=(1, 2, 3, 4)),
        id=ids.Explain.MEMBERS,
        note="Not adjusted for patients; 95 % intervals.",
    )


def _mix(view: ExplainView) -> Component | None:
    if not view.mix:
        return None
    rows = [(one.of, one.name, *one.told) for one in view.mix]
    headings = ("Of", "Statistic", "Value", "Test", "Size, and who says so")
    return section(
        "The mix of results",
        table("The mix of results", headings, rows, long=(4,)),
        id=ids.Explain.MIX,
        note="Bands of one table and values of one technique at a time; nothing is mixed.",
    )


def _notes(view: ExplainView) -> Component:
    return section(
        "How it is worked out", *(html.P(one) for one in view.notes), id=ids.Explain.NOTES
    )
