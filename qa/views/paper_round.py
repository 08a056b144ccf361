"""The report of one round: do sites agree, who is out, and what to do about it."""

from collections.abc import Sequence

from qa.drift.round_scores import ScoreClass
from qa.followup.rounds import Round
from qa.model.errors import PackError
from qa.model.months import add_months, iterate_months
from qa.model.pack_request import PackRequest
from qa.model.published import Published
from qa.views import words
from qa.views.agreement import HEADINGS, NOTE, AgreementView, agreement_view
from qa.views.names import site_name
from qa.views.pack_facts import PackFacts
from qa.views.pack_record import provenance_of
from qa.views.paper import (
    Block,
    Cell,
    FigureRow,
    Grid,
    Head,
    Look,
    Mark,
    Paper,
    Para,
    Scores,
    Section,
    said,
)
from qa.views.paper_methods import caution_section, provenance_section
from qa.views.paper_site import shown_network
from qa.views.round_report import RoundReport, ScoreLine, round_report
from qa.views.scope import criteria_of_month
from qa.views.shown import Figure

PAIR_MONTHS = 12
METHOD = (
    "The assigned value is the certificate's, or the robust mean of what was reported (algorithm "
    "A); scores follow ISO 13528: z, or z′ where the assigned value is too uncertain to be left "
    "out, ζ and E_n where participants stated an uncertainty. Up to 2 is acceptable, from 3 asks "
    "for action; E_n asks for it from 1."
)
NEXT = (
    "A participant beyond a limit measures its own phantom, checks the date of calibration and the "
    "probe, and says what was found. Exams are not corrected after the fact."
)


def round_paper(
    published: Published,
    request: PackRequest,
    facts: PackFacts | None,
    number: int,
    software: str,
) -> Paper:
    """The report of a round: with every participant by name, or for one site ("ROUND-0001/site").

    Raises: PackError: there is no such round.
    """
    rounds = facts.rounds if facts else ()
    round_id, _, site_id = request.unit_id.partition("/")
    one = _find(rounds, round_id)
    report = round_report(
        one,
        rounds,
        network=published.network,
        may_name=lambda site: site_id in ("", site),
    )
    months = list(iterate_months(add_months(request.month, 1 - PAIR_MONTHS), request.month))
    pairs = agreement_view(published.frame("exams", month=months))
    made = provenance_of(published, file_months=(), criteria_ids=set(), has_rules=False)
    name = request.name(number)
    network = shown_network(published.network)
    whose = f" · {site_name(published.network, site_id)}" if site_id else ""
    return Paper(
        request=request,
        name=name,
        title=f"{one.plan.title}: round report {name}",
        subject=report.answer,
        author=network,
        left=f"{one.plan.title} · {one.round_id}{whose}",
        right=network,
        is_invented=published.network.is_invented,
        criteria_id=criteria_of_month(published.network, request.month),
        made=made,
        sections=(
            _first(report, one),
            _scores(report),
            _over_rounds(report),
            _pairs(pairs),
            caution_section(),
            provenance_section(made, facts, pack_name=name, software=software, has_files=False),
        ),
    )


def _find(rounds: Sequence[Round], round_id: str) -> Round:
    found = next((one for one in rounds if one.round_id == round_id), None)
    if found is None:
        known = words.listed([one.round_id for one in rounds]) or "none was planned"
        raise PackError(
            f"there is no round '{round_id[:60]}'",
            expected=f"one of: {known}",
            todo="Name a round as 'elastoqa rounds list' shows it",
            code="PCK-011",
        )
    return found


def _first(view: RoundReport, one: Round) -> Section:
    plan = one.plan
    state = "closed" if one.is_closed else f"open until {plan.closes_on}"
    reported = f"{len(one.results)} of {len(plan.participants)}"
    out = [row for row in one.scores.scores if row.verdict is ScoreClass.ACTION]
    warned = [row for row in one.scores.scores if row.verdict is ScoreClass.WARNING]
    figures = (
        Figure("round.reported", "participants reported", reported, float(len(one.results))),
        Figure("round.action", "ask for action", str(len(out)), float(len(out))),
        Figure("round.warning", "warnings", str(len(warned)), float(len(warned))),
        Figure("round.assigned", "assigned value", _assigned(one), one.scores.assigned.value),
    )
    blocks: list[Block] = [
        said(Figure("answer", "the round in words", view.answer, None), Look.TITLE),
        Para(f"{plan.title}, from {plan.opens_on}, {state}.", Look.MUTED),
        FigureRow(figures),
    ]
    if view.warning:
        blocks.append(Para(view.warning, Look.STRONG))
    if view.missing:
        blocks.append(Para(f"Not reported: {words.listed(list(view.missing))}."))
    lines = tuple(
        (line.name, line.score, line.mark, line.verdict)
        for line in view.scores
        if line.score is not None
    )
    if lines:
        blocks += [
            Head("Every participant on one scale"),
            Scores(f"Scores of {plan.title}", lines),
            Para("Dashed: 2, from where it is a warning, and 3, action (ISO 13528).", Look.NOTE),
        ]
    blocks += [Head("What is asked"), Para(NEXT)]
    about = tuple((Para(name, Look.SMALL), Para(text, Look.SMALL)) for name, text in view.facts)
    blocks += [Head("About the round"), Grid("About the round", ("What", "Which"), about, (30, 70))]
    return Section("summary", "The round in words", tuple(blocks), is_first=True)


def _assigned(one: Round) -> str:
    value = one.scores.assigned.value
    return "none" if value is None else f"{value:.2f} {one.unit}"


def _scores(view: RoundReport) -> Section:
    if not view.scores:
        return Section("scores", "Scores", (Para("No result yet.", Look.SMALL),))
    rows = tuple(_score(i, line) for i, line in enumerate(view.scores))
    headings = ("Participant", "Result", "Score", "ζ", "E_n", "Verdict")
    grid = Grid(f"Scores of {view.title}", headings, rows, (32, 14, 13, 9, 17, 15))
    return Section("scores", "Scores", (grid, Para(METHOD, Look.NOTE)), room=150.0)


def _score(i: int, line: ScoreLine) -> tuple[Cell, ...]:
    return (
        Para(line.name, Look.SMALL),
        Figure(f"score.{i}.value", line.name, line.value, None),
        Figure(f"score.{i}.score", line.name, line.score_text, line.score),
        line.zeta_text,
        Para(line.en_text, Look.SMALL),
        Mark(line.mark, line.verdict) if line.mark else line.verdict,
    )


def _over_rounds(view: RoundReport) -> Section:
    title = "Over closed rounds"
    if not view.over_rounds:
        return Section("performance", title, (Para("No round was closed yet.", Look.SMALL),))
    rows = tuple(tuple(Para(text, Look.SMALL) for text in one.row) for one in view.over_rounds)
    headings = ("Participant", "Rounds", "Warning / action", "Mean score", "Over rounds")
    below = "A lasting bias: the sum of scores over the root of their number is 3 or more."
    grid = Grid(title, headings, rows, (34, 10, 18, 14, 24))
    return Section("performance", title, (grid, Para(below, Look.NOTE)), room=150.0)


def _pairs(view: AgreementView) -> Section:
    title = "Two operators, one patient"
    rows = tuple(tuple(Para(text, Look.SMALL) for text in one) for one in view.rows)
    found = Figure("pairs.finding", "agreement", view.finding, None)
    blocks: list[Block] = [said(found)]
    if rows:
        blocks.append(Grid(title, HEADINGS, rows, (14, 7, 21, 27, 16, 15)))
    kappa = Figure("pairs.kappa", "kappa", view.kappa_text, None)
    blocks += [said(kappa, Look.SMALL), Para(NOTE, Look.NOTE)]
    return Section("pairs", title, tuple(blocks), room=130.0)
