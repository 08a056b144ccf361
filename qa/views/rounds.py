"""Rounds: do sites agree? Rounds with scores, performance, agreement of paired exams."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import polars as pl

from qa.drift.round_scores import ScoreClass
from qa.followup.rounds import Round
from qa.followup.studies import Study
from qa.model.definitions import Network
from qa.views import words
from qa.views.agreement import AgreementView, agreement_view
from qa.views.round_report import PerformanceLine, RoundReport, over_rounds, round_report
from qa.views.studies import StudyView, study_views


@dataclass(frozen=True)
class RoundLine:
    """One round in the list."""

    round_id: str
    title: str
    state: str
    reported: str
    out: str


@dataclass(frozen=True)
class RoundsView:
    """The Rounds screen.

    Args:
        report: of the chosen round, whole or of one site; None: no round.
        sites: (id, name) of sites that take part and that the reader may know by name.
    """

    answer: str
    subline: str
    rounds: tuple[RoundLine, ...]
    report: RoundReport | None
    sites: tuple[tuple[str, str], ...]
    performance: tuple[PerformanceLine, ...]
    agreement: AgreementView
    studies: tuple[StudyView, ...] = ()


def rounds_view(
    rounds: Sequence[Round],
    *,
    network: Network,
    exams: pl.DataFrame,
    may_name: Callable[[str], bool],
    chosen: str | None = None,
    site_id: str | None = None,
    studies: Sequence[Study] = (),
) -> RoundsView:
    """Rounds, the report of one, and how paired exams of routine data agree.

    Args:
        exams: rows of the published frame `exams`, of the months shown.
        may_name: whether the reader may know the participants of a site by name.
        chosen: a round's id; None or one that is not there: the newest with results.
        site_id: the report of this site; None, or one that may not be named: of all.
    """
    sites = _sites(rounds, network, may_name)
    site_id = site_id if site_id in dict(sites) else None
    with_results = [one for one in rounds if one.results]
    newest = with_results[-1] if with_results else (rounds[-1] if rounds else None)
    one = next((r for r in rounds if r.round_id == chosen), newest)
    report = None
    if one is not None:
        report = round_report(one, rounds, network=network, may_name=may_name, site_id=site_id)
    return RoundsView(
        answer=report.answer
        if report
        else "No round was planned, so nothing tells whether sites agree.",
        subline=_subline(rounds),
        rounds=tuple(_round_line(r) for r in reversed(rounds)),
        report=report,
        sites=sites,
        performance=report.over_rounds if report else over_rounds(rounds, network, may_name),
        agreement=agreement_view(exams),
        studies=study_views(studies),
    )


def _sites(
    rounds: Sequence[Round], network: Network, may_name: Callable[[str], bool]
) -> tuple[tuple[str, str], ...]:
    part = {name for one in rounds for name in one.plan.participants}
    found = {device.site for device in network.devices if device.id in part}
    return tuple(
        (one.id, one.name) for one in network.sites if one.id in found and may_name(one.id)
    )


def _round_line(one: Round) -> RoundLine:
    out = [row for row in one.scores.scores if row.verdict is ScoreClass.ACTION]
    return RoundLine(
        round_id=one.round_id,
        title=one.plan.title,
        state="closed" if one.is_closed else f"open until {one.plan.closes_on}",
        reported=f"{len(one.results)} of {len(one.plan.participants)}",
        out=words.counted(len(out), "participant") if out else "none",
    )


def _subline(rounds: Sequence[Round]) -> str:
    closed = sum(one.is_closed for one in rounds)
    return (
        f"{words.counted(closed, 'round')} closed, {len(rounds) - closed} open. Limits of ISO "
        "13528: up to 2 acceptable, from 3 action; E_n from 1 action."
    )
