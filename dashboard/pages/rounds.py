"""Rounds: do sites agree?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Form, Page, address
from dashboard.check_figures import score_chart
from dashboard.components.basics import link, section, state_mark
from dashboard.components.charts import graph
from dashboard.components.shell import message_screen, screen
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.jobs.followup.rounds import RoundDesk
from qa.model.permissions import Permission, may
from qa.views.rounds import RoundsView, rounds_view

MONTHS = 12


def layout(context: Context) -> Component:
    if context.desk is None:
        return message_screen(
            "No rounds are kept here.",
            "These screens were started without the follow-up store.",
            prefix=context.prefix,
        )
    case_desk, published, chosen = context.desk, context.published, context.selection
    desk = RoundDesk(case_desk.store, published.network, case_desk.actor, case_desk.at)
    months = [one for one in chosen.months if one <= chosen.month][-MONTHS:]
    view = rounds_view(
        desk.rounds(),
        network=published.network,
        exams=published.frame("exams", month=months),
        may_name=lambda site: may(desk.actor, Permission.SEE_RESULTS, site_id=site),
        chosen=chosen.round,
    )
    return screen(
        context,
        Page.ROUNDS,
        answer=view.answer,
        subline=view.subline,
        children=[_scores(view, context), _rounds(view, context), _performance(view), _pairs(view)],
    )


def _scores(view: RoundsView, context: Context) -> Component | None:
    if view.chosen is None:
        return None
    rows = [
        (
            one.name,
            one.value,
            one.score_text,
            one.zeta_text,
            one.en_text,
            state_mark(one.mark, word=one.verdict) if one.mark else one.verdict,
        )
        for one in view.scores
    ]
    headings = ("Participant", "Result", "Score", "ζ", "E_n", "Verdict")
    return section(
        view.chosen.plan.title,
        html.P(
            f"Few participants: read with care. {view.assigned_text}"
            if view.is_weak
            else view.assigned_text,
            className="caution" if view.is_weak else None,
        ),
        graph(score_chart(view.scores), "320px", id=ids.Rounds.CHART) if rows else None,
        table(f"Scores of {view.chosen.plan.title}", headings, rows, numeric=(1, 2, 3, 4))
        if rows
        else html.P("No result yet."),
        None
        if view.chosen.is_closed
        else html.P(
            _form_link("Report a result, or close it", context, round=view.chosen.round_id)
        ),
        id=ids.Rounds.SCORES,
        note="Dotted: 2, from where it is a warning; dashed: 3, action (ISO 13528).",
    )


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


def _performance(view: RoundsView) -> Component | None:
    if not view.performance:
        return None
    headings = ("Participant", "Rounds", "Warning / action", "Mean score", "Over rounds")
    return section(
        "Over closed rounds",
        table("Performance over rounds", headings, view.performance, numeric=(1, 2, 3)),
        id=ids.Rounds.PERFORMANCE,
        note="A lasting bias: the sum of scores over the root of their number is 3 or more.",
    )


def _pairs(view: RoundsView) -> Component:
    headings = (
        "Stiffness",
        "Pairs",
        "Second less first, kPa",
        "Limits of agreement, kPa",
        "Within-subject CV",
        "ICC(1,1)",
    )
    return section(
        "Two operators, one patient",
        table("Agreement of paired exams", headings, view.agreement, numeric=(1, 4), long=(2, 3)),
        html.P(view.kappa_text),
        id=ids.Rounds.PAIRS,
        note="Reliable exams of one patient on one day by the same technique and probe, by two "
        "operators, in the twelve months shown. With 95 % intervals (Bland and Altman 1986; Shrout "
        "and Fleiss 1979). A high ICC comes easily from a wide range of livers: go by the CV and "
        "the limits.",
    )
