"""Rounds: do sites agree? Rounds with scores, performance, agreement of paired exams."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import polars as pl

from qa.drift.agreement_study import AgreementPart, agreement_parts, band_kappa, find_pairs
from qa.drift.round_scores import ScoreClass, Scored, performance
from qa.followup.rounds import Round
from qa.model.definitions import Network
from qa.model.words import PointState
from qa.views import words
from qa.views.names import site_name

MARKS = {
    ScoreClass.ACTION: PointState.LOOK,
    ScoreClass.WARNING: PointState.WATCH,
    ScoreClass.ACCEPTABLE: PointState.STEADY,
}


@dataclass(frozen=True)
class ScoreLine:
    """One participant of the chosen round; others' names are withheld from a site."""

    name: str
    value: str
    score: float | None
    score_text: str
    zeta_text: str
    en_text: str
    verdict: str
    mark: str


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
    """The Rounds screen. agreement: rows of pairs, below and above the split."""

    answer: str
    subline: str
    rounds: tuple[RoundLine, ...]
    chosen: Round | None
    assigned_text: str
    is_weak: bool
    scores: tuple[ScoreLine, ...]
    performance: tuple[tuple[str, str, str, str, str], ...]
    agreement: tuple[tuple[str, str, str, str, str, str], ...]
    kappa_text: str


def rounds_view(
    rounds: Sequence[Round],
    *,
    network: Network,
    exams: pl.DataFrame,
    may_name: Callable[[str], bool],
    chosen: str | None = None,
) -> RoundsView:
    """Rounds, the scores of one, and how paired exams of routine data agree.

    Args:
        exams: rows of the published frame `exams`, of the months shown.
        may_name: whether the reader may know the participants of a site by name.
        chosen: a round's id; None or one that is not there: the newest with results.
    """
    with_results = [one for one in rounds if one.results]
    newest = with_results[-1] if with_results else (rounds[-1] if rounds else None)
    one = next((r for r in rounds if r.round_id == chosen), newest)
    scores = _score_lines(one, network, may_name) if one else ()
    assigned = one.scores.assigned if one else None
    pairs = find_pairs(exams)
    return RoundsView(
        answer=_answer(one, scores),
        subline=_subline(rounds),
        rounds=tuple(_round_line(r) for r in reversed(rounds)),
        chosen=one,
        assigned_text=words.as_sentence(f"Assigned value: {assigned.words}") if assigned else "",
        is_weak=bool(assigned and assigned.is_weak),
        scores=scores,
        performance=_performance(rounds, network, may_name),
        agreement=tuple(
            _agreement_row(part)
            for part in agreement_parts(pairs["first_kpa"], pairs["second_kpa"])
        ),
        kappa_text=_kappa_text(pairs),
    )


def _names(one: Round, network: Network, may_name: Callable[[str], bool]) -> dict[str, str]:
    """Participants as the reader may know them."""
    sites = {device.id: device.site for device in network.devices}
    return {
        device: f"{device}, {site_name(network, sites[device])}"
        if device in sites and may_name(sites[device])
        else f"participant {number}"
        for number, device in enumerate(one.plan.participants, start=1)
    }


def _score_lines(
    one: Round, network: Network, may_name: Callable[[str], bool]
) -> tuple[ScoreLine, ...]:
    names = _names(one, network, may_name)
    lines = [_score_line(row, names[row.result.participant], one.unit) for row in one.scores.scores]
    return tuple(sorted(lines, key=lambda line: -abs(line.score or 0.0)))


def _score_line(row: Scored, name: str, unit: str) -> ScoreLine:
    verdict = row.verdict or row.en_verdict
    return ScoreLine(
        name=name,
        value=f"{row.result.value:g} {unit}",
        score=row.score if row.score is not None else row.en,
        score_text="–" if row.score is None else f"{row.used} {row.score:+.1f}",
        zeta_text="–" if row.zeta is None else f"{row.zeta:+.1f}",
        en_text="–" if row.en is None else f"{row.en:+.2f} ({row.en_verdict})",
        verdict=str(verdict or "no score"),
        mark=str(MARKS[verdict]) if verdict else "",
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


def _performance(
    rounds: Sequence[Round], network: Network, may_name: Callable[[str], bool]
) -> tuple[tuple[str, str, str, str, str], ...]:
    closed = [one for one in rounds if one.is_closed]
    names: dict[str, str] = {}
    for one in closed:
        names |= _names(one, network, may_name)
    found = performance([one.scores for one in closed])
    return tuple(
        (
            names[one.participant],
            str(one.n_rounds),
            f"{one.n_warning} / {one.n_action}",
            f"{one.mean_score:+.2f}",
            "lasting bias" if one.is_biased else "no lasting bias seen",
        )
        for one in found
    )


def _agreement_row(part: AgreementPart) -> tuple[str, str, str, str, str, str]:
    d = part.differences
    if d is None:
        return part.name, str(part.n), "too few pairs", "–", "–", "–"
    icc = part.icc[0]
    return (
        part.name,
        words.whole(part.n),
        f"{d.mean:+.2f} ({d.mean_interval[0]:+.2f} to {d.mean_interval[1]:+.2f})",
        f"{d.lower:+.2f} ({d.lower_interval[0]:+.2f} to {d.lower_interval[1]:+.2f}); "
        f"{d.upper:+.2f} ({d.upper_interval[0]:+.2f} to {d.upper_interval[1]:+.2f})",
        f"{part.cv:.1%}",
        f"{icc.value:.2f} ({icc.lower:.2f} to {icc.upper:.2f})",
    )


def _kappa_text(pairs: pl.DataFrame) -> str:
    banded = pairs.drop_nulls(["first_band", "second_band"])
    found = band_kappa(banded["first_band"], banded["second_band"])
    if found is None:
        return "Too few pairs with bands for a kappa."
    low, high = found[0].interval()
    return (
        f"Bands of {words.counted(found[1], 'pair')} agree with weighted kappa "
        f"{found[0].value:.2f} (quadratic weights; 95 % interval {low:.2f} to {high:.2f})."
    )


def _answer(one: Round | None, scores: Sequence[ScoreLine]) -> str:
    if one is None:
        return "No round was planned, so nothing tells whether sites agree."
    if not scores:
        return f"Nothing was reported to {one.plan.title} yet."
    out = [line for line in scores if line.verdict == ScoreClass.ACTION]
    if out:
        fine = sum(line.verdict == ScoreClass.ACCEPTABLE for line in scores)
        rest = words.counted(fine, "participant is", "participants are")
        more = f", with {len(out) - 1} more" if len(out) > 1 else ""
        return f"{out[0].name} is out in {one.plan.title}{more}; {rest} within limits."
    if scores[0].verdict == "no score":
        return f"{one.plan.title} cannot be scored yet."
    return f"All {len(scores)} participants of {one.plan.title} agree."


def _subline(rounds: Sequence[Round]) -> str:
    closed = sum(one.is_closed for one in rounds)
    return (
        f"{words.counted(closed, 'round')} closed, {len(rounds) - closed} open. Limits of ISO "
        "13528: up to 2 acceptable, from 3 action; E_n from 1 action."
    )
