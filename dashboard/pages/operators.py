"""Operators: who needs what?"""

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Page
from dashboard.components.basics import file_link, legend, link, section, state_mark
from dashboard.components.charts import (
    funnel_figure,
)
from dashboard.components.choices import period_links, select
from dashboard.components.competence import file_section
from dashboard.components.exams import exams_behind
from dashboard.components.integrity import integrity_section
from dashboard.components.needs import needs_section
from dashboard.components.own import is_own_page
from dashboard.components.person import person_parts
from dashboard.components.shell import screen
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.model.definitions import GRADE_CAUTION
from qa.model.words import UnitKind
from qa.views import words
from qa.views.operators import OperatorRow, OperatorsView, operators_view
from qa.views.own import own_view


def layout(context: Context) -> Component:
    chosen = context.selection
    view = operators_view(
        context.published,
        month=chosen.month,
        measure_id=chosen.measure_id,
        site_id=chosen.site_id,
        operator_id=chosen.operator_id,
        months=chosen.period,
    )
    person = view.person
    own = (
        own_view(context.published, person, month=chosen.month)
        if person and is_own_page(person)
        else None
    )
    answer = person.answer if person else view.answer
    return screen(
        context,
        Page.OPERATORS,
        answer=own.answer if own else answer,
        subline=own.subline if own else _subline(view),
        children=[
            _choices(view, context),
            person_parts(person, view, context, own) if person else _needs(view, context),
            file_section(context, view.person.operator_id) if view.person else None,
            _compare(view, context),
            None if view.person else integrity_section(context),
        ],
    )


def _subline(view: OperatorsView) -> str:
    if view.person:
        return f"{view.person.site_name} · {view.month_text}"
    return "What each needs, by exams at stake, then all operators side by side."


def _choices(view: OperatorsView, context: Context) -> Component:
    def here(**changes: Any) -> str:
        return context.here(Page.OPERATORS, **changes)

    sites = [("All sites", here(site=None))]
    sites += [(site.name, here(site=site.id)) for site in context.published.network.sites]
    measures = [(item.title, here(measure=item.id)) for item in view.measures]
    people = [("All operators", here(operator=None))]
    people += [
        (f"{row.name}, {row.site_name}", here(operator=row.operator_id))
        for row in sorted(view.rows, key=lambda row: row.operator_id)
        if context.published.network.operator(row.operator_id)
    ]
    present = {"measure": view.measure.id}
    return html.Div(
        [
            select("Measure", measures, chosen=here(**present)),
            select("Site", sites, chosen=here()),
            select("Operator", people, chosen=here()),
            period_links(context, Page.OPERATORS) if view.person else None,
        ],
        className="choices",
    )


def _needs(view: OperatorsView, context: Context) -> Component:
    return html.Div(
        [
            needs_section(
                "What they need, by exams at stake",
                view.needs,
                context=context,
                id=ids.Operators.NEEDS,
                none="No operator has an item, and none has little practice.",
            ),
            needs_section(
                "Devices that need service",
                view.devices,
                context=context,
                id=ids.Operators.DEVICES,
                none="No device stands out among those who use it.",
            ),
        ]
    )


def _compare(view: OperatorsView, context: Context) -> Component:
    rows = [
        (
            _person_link(row, context),
            _site_link(row, context),
            _exams_link(row, view, context),
            words.percent_with_interval(row.value, row.lower, row.upper),
            f"{row.n_events} ({words.number(row.expected)})",
            row.ratio_text,
            row.shrunken_text,
            state_mark(row.state),
        )
        for row in view.rows
    ]
    return section(
        f"{view.measure.title}: all operators side by side",
        html.P(GRADE_CAUTION, className="caution") if view.measure.is_grade else None,
        funnel_figure(view.funnel, id=ids.Operators.FUNNEL),
        legend(),
        html.P(
            [
                f"{view.measure.why} {view.funnel.period_text} Limits are exact binomial ones. "
                f"{view.funnel.how_text} ",
                "Best guess: the adjusted share drawn to the mean of all, the more the fewer exams "
                "it rests on. ",
                link("Measure", context.to(Page.METHODS, anchor=view.measure.id)),
                " · ",
                file_link("CSV", context.here(Download.OPERATORS, measure=view.measure.id)),
            ],
            className="note",
        ),
        table(
            f"{view.measure.title} by operator. {view.funnel.period_text}",
            (
                *("Operator", "Site", "Exams", "Share (95 % interval)", "Found (expected)"),
                *("Found/expected", "Best guess, adjusted", "State"),
            ),
            rows,
            numeric=(2, 3, 4, 5, 6),
        )
        if rows
        else html.P("No operator with exams here in this period."),
        id=ids.Operators.TABLE,
    )


def _person_link(row: OperatorRow, context: Context) -> Component | str:
    """An unnamed peer has no page."""
    if context.published.network.operator(row.operator_id) is None:
        return row.name
    return link(row.name, context.here(Page.OPERATORS, operator=row.operator_id))


def _exams_link(row: OperatorRow, view: OperatorsView, context: Context) -> Component | str:
    """The exams that the row counts; an unnamed peer's are not shown."""
    since = view.funnel.from_month
    if context.published.network.operator(row.operator_id) is None or since is None:
        return words.whole(row.n)
    href = exams_behind(
        context,
        unit_kind=UnitKind.OPERATOR,
        unit_id=row.operator_id,
        measure_id=view.measure.id,
        since=f"{since:%Y-%m}",
    )
    return link(words.whole(row.n), href) if href else words.whole(row.n)


def _site_link(row: OperatorRow, context: Context) -> Component | str:
    if Page.SITE not in context.pages or context.published.network.site(row.site_id or "") is None:
        return row.site_name
    return link(row.site_name, context.to(Page.SITE, site=row.site_id))
