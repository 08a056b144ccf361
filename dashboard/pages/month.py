"""Month: what needs me now?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Form, Page, address
from dashboard.components.basics import file_link, legend, link, section
from dashboard.components.charts import last_points_table, small_charts
from dashboard.components.choices import links, period_links
from dashboard.components.decide import keys_told, may_decide, review_section
from dashboard.components.shell import screen
from dashboard.components.tables import heat_table, table
from dashboard.components.worklist import overview, short_worklist, unit_address, worklist
from dashboard.selection import BY_FALSE_SHARE, Context
from dashboard.signing_pages import open_packs_section
from qa.jobs.followup.month_reviews import month_review
from qa.jobs.followup.people import person_names
from qa.views import words
from qa.views.false_share import FalseShareView
from qa.views.followup import overdue_lines
from qa.views.month import MonthReviewOf, MonthView, month_view
from qa.views.month_review import month_review_view


def layout(context: Context) -> Component:
    chosen = context.selection
    view = month_view(
        context.published,
        month=chosen.month,
        measure_id=chosen.measure_id,
        months=chosen.period,
        by_false_share=chosen.is_by_false_share,
        review=_review_of(context),
    )
    return screen(
        context,
        Page.MONTH,
        answer=view.answer,
        subline=view.subline,
        children=[
            html.Div(
                [
                    html.Div([_which_list(context), _overdue(context), _listed(view, context)]),
                    html.Aside(
                        [
                            review_section(view.review, context) if view.review else None,
                            _heat(view, context),
                            _intake(view, context),
                            open_packs_section(context),
                        ]
                    ),
                ],
                className="columns",
            ),
            _multiples(view, context),
        ],
    )


def _review_of(context: Context) -> MonthReviewOf | None:
    """How far the review of the month shown has come; None where decisions are not kept."""
    desk, month = context.desk, context.selection.month
    if desk is None:
        return None
    return lambda items: month_review_view(
        items,
        month_review(desk, month),
        month=month,
        cases=desk.cases(),
        reviews=desk.reviews(),
        names=person_names(desk.store),
        on=desk.today,
    )


def _overdue(context: Context) -> Component | None:
    """Follow-ups whose day has passed; nothing where all is in time."""
    desk = context.desk
    lines = overdue_lines(desk.cases(), on=desk.today) if desk else ()
    if not lines:
        return None
    return section(
        f"{words.counted(len(lines), 'follow-up')} overdue",
        html.Ul(
            [
                html.Li(
                    [
                        html.A(
                            case_id, href=address(Form.CASE, prefix=context.prefix, case=case_id)
                        ),
                        f" {said}",
                    ]
                )
                for case_id, said in lines
            ]
        ),
        id=ids.Month.OVERDUE,
    )


def _which_list(context: Context) -> Component:
    is_other = context.selection.is_by_false_share
    return links(
        "List",
        [
            ("by budget, to decide by", context.here(Page.MONTH, list=None), not is_other),
            (
                "this month alone, by false discovery rate",
                context.here(Page.MONTH, list=BY_FALSE_SHARE),
                is_other,
            ),
        ],
    )


def _listed(view: MonthView, context: Context) -> Component:
    if view.by_false_share is None:
        return _to_decide(view, context)
    return _by_false_share(view.by_false_share, view, context)


def _by_false_share(found: FalseShareView, view: MonthView, context: Context) -> Component:
    rows = [
        (
            link(row.unit_name, unit_address(row, context)),
            row.measure_title,
            row.found_text,
            row.expected_text,
            row.adjusted_text,
            f"item {row.item}" if row.item else "not on it",
        )
        for row in found.rows
    ]
    return section(
        "This month alone, by false discovery rate",
        html.P(found.text, className="note"),
        table(
            f"Charts that stand out in {view.month_text} alone",
            ("Unit", "Measure", "Found", "Expected", "Adjusted chance", "By budget"),
            rows,
            numeric=(2, 3, 4),
        )
        if rows
        else html.P(f"No chart stands out in {view.month_text} alone."),
        id=ids.Month.FALSE_SHARE,
    )


def _to_decide(view: MonthView, context: Context) -> Component:
    csv = file_link("This list as CSV", context.here(Download.WORKLIST))
    if not view.items:
        return section(
            "To decide, by exams at stake",
            html.P("No chart rule fired on a watched measure. All charts stand below."),
            html.P(view.budget_text, className="note"),
            html.P(view.calm_text, className="note") if view.calm_text else None,
            id=ids.Month.WORKLIST,
        )
    decided = view.review.decided if view.review else None
    charted = [item for item in view.items if item.chart]
    rest = [item for item in view.items if not item.chart]
    return html.Div(
        [
            section(
                "To decide, by exams at stake",
                overview(view.items, decided=decided),
                html.P(view.budget_text, className="note"),
                html.P(view.calm_text, className="note") if view.calm_text else None,
                html.P(csv, className="links"),
                id=ids.Month.WORKLIST,
            ),
            section(
                "One by one",
                keys_told() if decided is not None and may_decide(context) else None,
                worklist(
                    charted, context=context, id=f"{ids.Month.WORKLIST}-items", decided=decided
                ),
                short_worklist(rest, context=context, first=len(charted) + 1, decided=decided)
                if rest
                else None,
                id=f"{ids.Month.WORKLIST}-whole",
            ),
        ]
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
