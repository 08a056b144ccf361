"""Rounds: do sites agree?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Form, Page, address
from dashboard.components.basics import facts, file_link, link, section, state_mark
from dashboard.components.charts import graph
from dashboard.components.choices import select
from dashboard.components.shell import message_screen, screen
from dashboard.components.tables import table
from dashboard.round_figures import agreement_chart, past_chart, score_chart
from dashboard.selection import Context
from qa.jobs.followup.rounds import RoundDesk
from qa.model.permissions import Permission, may
from qa.views import studies
from qa.views.agreement import HEADINGS, NOTE
from qa.views.round_report import RoundReport, ScoreLine
from qa.views.rounds import RoundsView, rounds_view

MONTHS = 12


def read_rounds(context: Context) -> RoundsView | None:
    """What the address asks for; None where no store is kept."""
    if context.desk is None:
        return None
    case_desk, published, chosen = context.desk, context.published, context.selection
    desk = RoundDesk(case_desk.store, published.network, case_desk.actor, case_desk.at)
    months = [one for one in chosen.months if one <= chosen.month][-MONTHS:]
    of_site = {"site_id": chosen.site_id} if chosen.site_id else {}
    return rounds_view(
        desk.rounds(),
        network=published.network,
        exams=published.frame("exams", month=months, **of_site),
        may_name=lambda site: may(desk.actor, Permission.SEE_RESULTS, site_id=site),
        chosen=chosen.round,
        site_id=chosen.site_id,
        studies=desk.studies(),
    )


def layout(context: Context) -> Component:
    view = read_rounds(context)
    if view is None:
        return message_screen(
            "No rounds are kept here.",
            "These screens were started without the follow-up store.",
            prefix=context.prefix,
        )
    return screen(
        context,
        Page.ROUNDS,
        answer=view.answer,
        subline=view.subline,
        children=[
            _choices(view, context),
            _report(view.report, context) if view.report else None,
            _performance(view, context),
            _rounds(view, context),
            _pairs(view, context),
            _studies(view, context),
        ],
    )


def _choices(view: RoundsView, context: Context) -> Component | None:
    if view.report is None:
        return None
    rounds = [(one.title, context.here(Page.ROUNDS, round=one.round_id)) for one in view.rounds]
    sites = [("All sites", context.here(Page.ROUNDS, site=None))]
    sites += [(name, context.here(Page.ROUNDS, site=one)) for one, name in view.sites]
    return html.Div(
        [
            select("Round", rounds, chosen=context.here(Page.ROUNDS, round=view.report.round_id)),
            select("Report of", sites, chosen=context.here(Page.ROUNDS)),
        ],
        className="choices",
    )


def _report(report: RoundReport, context: Context) -> Component:
    title = f"{report.title}: {report.site_name}" if report.site_name else report.title
    rows = [_score_row(one, context) for one in report.scores]
    headings = ("Participant", "Result", "Score", "ζ", "E_n", "Verdict", "Asked of it")
    csv = context.to(Download.ROUND, round=report.round_id, site=context.selection.site_id)
    return section(
        title,
        html.P(report.warning, className="caution") if report.warning else None,
        facts(report.facts, css="facts three"),
        graph(score_chart(report.scores), _tall(report), id=ids.Rounds.CHART) if rows else None,
        table(f"Scores of {title}", headings, rows, numeric=(1, 2, 3, 4), long=(6,))
        if rows
        else html.P("No result yet."),
        html.P(f"Nothing yet from {', '.join(report.missing)}.") if report.missing else None,
        html.P(
            [
                file_link("CSV of this report", csv),
                None
                if report.is_closed
                else _form_link("Report a result, or close it", context, round=report.round_id),
            ],
            className="links",
        ),
        id=ids.Rounds.SCORES,
        note="Dotted: 2, from where it is a warning; dashed: 3, action (ISO 13528). A score speaks "
        "of the device and how it is held, never of a patient.",
    )


def _tall(report: RoundReport) -> str:
    return f"{110 + 24 * len(report.scores)}px"


def _score_row(one: ScoreLine, context: Context) -> tuple:
    return (
        one.name,
        one.value,
        one.score_text,
        one.zeta_text,
        one.en_text,
        state_mark(one.mark, word=one.verdict) if one.mark else one.verdict,
        html.Span(
            [
                one.asked,
                " ",
                link("Devices of its site", _devices_of(one, context)) if one.device_id else None,
            ]
        ),
    )


def _devices_of(one: ScoreLine, context: Context) -> str:
    return context.to(Page.DEVICES, site=one.raw.result.site_id)


def _form_link(text: str, context: Context, **query: str) -> Component:
    return html.A(text, href=address(Form.ROUND, prefix=context.prefix, **query))


def _rounds(view: RoundsView, context: Context) -> Component:
    rows = [
        (
            link(one.round_id, context.here(Page.ROUNDS, round=one.round_id)),
            one.title,
            one.state,
            one.reported,
            one.out,
        )
        for one in view.rounds
    ]
    return section(
        "Rounds, the newest first",
        table("Rounds", ("Round", "About", "State", "Reported", "Out"), rows, long=(1,))
        if rows
        else html.P("None."),
        html.P(_form_link("Plan a round", context), className="links"),
        id=ids.Rounds.LIST,
    )


def _performance(view: RoundsView, context: Context) -> Component | None:
    if not view.performance:
        return None
    headings = ("Participant", "Rounds", "Warning / action", "Mean score", "Over rounds")
    is_several = any(len(one.past) > 1 for one in view.performance)
    csv = context.to(Download.ROUNDS, site=context.selection.site_id)
    return section(
        "Over closed rounds",
        graph(past_chart(view.performance), "260px", id=ids.Rounds.PAST) if is_several else None,
        table(
            "Performance over rounds",
            headings,
            [one.row for one in view.performance],
            numeric=(1, 2, 3),
        ),
        html.P(file_link("CSV of all closed rounds", csv), className="links"),
        id=ids.Rounds.PERFORMANCE,
        note="A lasting bias: the sum of scores over the root of their number is 3 or more. Named "
        "in the picture: who was out once, or is biased.",
    )


def _pairs(view: RoundsView, context: Context) -> Component:
    found = view.agreement
    csv = context.to(Download.AGREEMENT, site=context.selection.site_id)
    picture = None
    if found.limits:
        picture = html.Figure(
            [
                html.Figcaption(found.finding),
                graph(agreement_chart(found), "320px", id=ids.Rounds.AGREEMENT),
                html.P(
                    "Each dot is a pair. Line: mean difference; dashed: limits of agreement, below "
                    "and from 9 kPa; grey: their 95 % intervals (Bland and Altman 1986).",
                    className="note",
                ),
            ],
            className="chart",
        )
    return section(
        "Two operators, one patient",
        html.P("Few pairs: the limits are rough.", className="caution") if found.is_rough else None,
        picture or html.P(found.finding),
        table("Agreement of paired exams", HEADINGS, found.rows, numeric=(1, 4, 5), long=(2, 3)),
        html.P(found.kappa_text),
        html.P(file_link("CSV of this table", csv), className="links"),
        id=ids.Rounds.PAIRS,
        note=NOTE,
    )


def _studies(view: RoundsView, context: Context) -> Component:
    told: list[Component] = [
        html.Div(
            [
                html.H3(one.finding),
                html.P(one.size, className="note"),
                table(
                    f"Repeatability and reproducibility, {one.finding.split(':')[0]}",
                    studies.HEADINGS,
                    one.rows,
                    numeric=(1, 2, 3, 4, 5, 6),
                ),
            ]
        )
        for one in view.studies
    ]
    none = "None is kept. Keep one: elastoqa rounds agreement --file FILE.csv --keep TITLE"
    csv = file_link("CSV of all studies", context.to(Download.STUDIES))
    return section(
        "Studies: several operators, the same subjects",
        *(told or [html.P(none)]),
        html.P(csv, className="links") if told else None,
        id=ids.Rounds.STUDIES,
        note=studies.NOTE,
    )
