"""The report of a comparison round, whole or of one site: what a screen, a file and a pack show."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from qa.drift.round_scores import ScoreClass, Scored, performance
from qa.followup.rounds import Round
from qa.model.definitions import Network
from qa.model.words import PointState
from qa.views import words
from qa.views.names import site_name
from qa.views.sheets import Sheet

MARKS = {
    ScoreClass.ACTION: PointState.LOOK,
    ScoreClass.WARNING: PointState.WATCH,
    ScoreClass.ACCEPTABLE: PointState.STEADY,
}
ASKED = {
    ScoreClass.ACTION: "Measure the item again, and look at the device's phantom checks first.",
    ScoreClass.WARNING: "Look at the device's phantom checks; watch the next round.",
    ScoreClass.ACCEPTABLE: "Nothing.",
}
"""What is asked of a participant; common practice, no source."""


@dataclass(frozen=True)
class ScoreLine:
    """One participant of a round; others' names are withheld from a site.

    score: for the picture. raw: the same as numbers. device_id: "" where the name is withheld.
    """

    name: str
    value: str
    score: float | None
    score_text: str
    zeta_text: str
    en_text: str
    verdict: str
    mark: str
    asked: str
    device_id: str
    raw: Scored


@dataclass(frozen=True)
class PastScore:
    """A participant's score in one closed round."""

    title: str
    closes_on: str
    score: float
    verdict: str
    mark: str


@dataclass(frozen=True)
class PerformanceLine:
    """A participant over closed rounds, the oldest first."""

    name: str
    n_warning: int
    n_action: int
    mean_score: float
    rescaled_sum: float
    is_biased: bool
    past: tuple[PastScore, ...]

    @property
    def row(self) -> tuple[str, str, str, str, str]:
        verdict = "lasting bias" if self.is_biased else "no lasting bias seen"
        return (
            self.name,
            str(len(self.past)),
            f"{self.n_warning} / {self.n_action}",
            f"{self.mean_score:+.2f}",
            verdict if len(self.past) > 1 else "one round tells nothing",
        )


@dataclass(frozen=True)
class RoundReport:
    """One round for whoever reads it.

    Args:
        answer: the result in a sentence. facts: (label, words).
        warning: what weakens it; "" where nothing does.
        scores: the furthest out first; of one site where one is named.
        missing: participants that reported nothing, as the reader may know them.
        over_rounds: those of `scores` over all closed rounds.
    """

    round_id: str
    title: str
    site_name: str
    answer: str
    facts: tuple[tuple[str, str], ...]
    warning: str
    scores: tuple[ScoreLine, ...]
    missing: tuple[str, ...]
    over_rounds: tuple[PerformanceLine, ...]
    is_closed: bool


def round_report(
    one: Round,
    rounds: Sequence[Round],
    *,
    network: Network,
    may_name: Callable[[str], bool],
    site_id: str | None = None,
) -> RoundReport:
    """The report of a round.

    Args:
        rounds: all of them, for performance over rounds.
        may_name: whether the reader may know the participants of a site by name.
        site_id: only the participants of this site; None: all.
    """
    names = participant_names(one, network, may_name)
    sites = {device.id: device.site for device in network.devices}
    own = {name for name in one.plan.participants if site_id in (None, sites.get(name))}
    lines = [
        _line(row, names, one.unit, is_named=may_name(sites.get(row.result.participant, "")))
        for row in one.scores.scores
        if row.result.participant in own
    ]
    scores = tuple(sorted(lines, key=lambda line: -abs(line.score or 0.0)))
    assigned = one.scores.assigned
    return RoundReport(
        round_id=one.round_id,
        title=one.plan.title,
        site_name=site_name(network, site_id) if site_id else "",
        answer=answer_of(one.plan.title, scores),
        facts=_facts(one),
        warning="Few participants: read with care." if assigned.is_weak else "",
        scores=scores,
        missing=tuple(names[name] for name in one.missing if name in own),
        over_rounds=over_rounds(rounds, network, may_name, only=own if site_id else None),
        is_closed=one.is_closed,
    )


def participant_names(
    one: Round, network: Network, may_name: Callable[[str], bool]
) -> dict[str, str]:
    """Participants as the reader may know them."""
    sites = {device.id: device.site for device in network.devices}
    return {
        device: f"{device}, {site_name(network, sites[device])}"
        if device in sites and may_name(sites[device])
        else f"participant {number}"
        for number, device in enumerate(one.plan.participants, start=1)
    }


def _line(row: Scored, names: dict[str, str], unit: str, *, is_named: bool) -> ScoreLine:
    verdict = row.verdict or row.en_verdict
    return ScoreLine(
        name=names[row.result.participant],
        value=f"{row.result.value:g} {unit}",
        score=row.score if row.score is not None else row.en,
        score_text="–" if row.score is None else f"{row.used} {row.score:+.1f}",
        zeta_text="–" if row.zeta is None else f"{row.zeta:+.1f}",
        en_text="–" if row.en is None else f"{row.en:+.2f} ({row.en_verdict})",
        verdict=str(verdict or "no score"),
        mark=str(MARKS[verdict]) if verdict else "",
        asked=ASKED[verdict] if verdict else "–",
        device_id=row.result.participant if is_named else "",
        raw=row,
    )


def _facts(one: Round) -> tuple[tuple[str, str], ...]:
    plan, assigned = one.plan, one.scores.assigned
    item = f"phantom {plan.phantom_id}" if plan.phantom_id else plan.item
    spread = "none, so no z"
    if assigned.sigma:
        how = "as planned" if plan.sigma else "robust, of the results"
        spread = f"{assigned.sigma:.3g} {one.unit} ({how})"
    facts = [
        ("Item", f"{item}, {plan.quantity}"),
        ("Open", f"{plan.opens_on} to {plan.closes_on}"),
        ("Reported", f"{len(one.results)} of {len(plan.participants)}"),
        ("Assigned value", words.as_sentence(assigned.words)),
        ("Standard deviation for scores", spread),
    ]
    if one.is_closed:
        facts.append(("Closed", one.closed_words or "without words"))
    return tuple(facts)


def answer_of(title: str, scores: Sequence[ScoreLine]) -> str:
    """The result of a round in a sentence."""
    if not scores:
        return f"Nothing was reported to {title} yet."
    out = [line for line in scores if line.verdict == ScoreClass.ACTION]
    if out:
        fine = sum(line.verdict == ScoreClass.ACCEPTABLE for line in scores)
        rest = words.counted(fine, "participant is", "participants are")
        more = f", with {len(out) - 1} more" if len(out) > 1 else ""
        return f"{out[0].name} is out in {title}{more}; {rest} within limits."
    if scores[0].verdict == "no score":
        return f"{title} cannot be scored yet."
    near = [line for line in scores if line.verdict == ScoreClass.WARNING]
    if near:
        more = f", with {len(near) - 1} more" if len(near) > 1 else ""
        return f"{near[0].name} is near the limit in {title}{more}; nobody is out."
    if len(scores) == 1:
        return f"{scores[0].name} agrees in {title}."
    return f"All {len(scores)} participants of {title} agree."


def over_rounds(
    rounds: Sequence[Round],
    network: Network,
    may_name: Callable[[str], bool],
    *,
    only: set[str] | None = None,
) -> tuple[PerformanceLine, ...]:
    """Participants over closed rounds, a lasting bias first, then by the mean score."""
    closed = [one for one in rounds if one.is_closed]
    names: dict[str, str] = {}
    past: dict[str, list[PastScore]] = {}
    for one in closed:
        names |= participant_names(one, network, may_name)
        for row in one.scores.scores:
            if row.score is not None and row.verdict is not None:
                past.setdefault(row.result.participant, []).append(
                    PastScore(
                        one.plan.title,
                        str(one.plan.closes_on),
                        row.score,
                        str(row.verdict),
                        str(MARKS[row.verdict]),
                    )
                )
    found = [
        PerformanceLine(
            names[one.participant],
            one.n_warning,
            one.n_action,
            one.mean_score,
            one.rescaled_sum,
            one.is_biased,
            tuple(past[one.participant]),
        )
        for one in performance([one.scores for one in closed])
        if only is None or one.participant in only
    ]
    return tuple(sorted(found, key=lambda one: (not one.is_biased, -abs(one.mean_score))))


def round_sheet(report: RoundReport) -> Sheet:
    """One row for each participant; names as the reader may know them."""
    headings = (
        *("round", "participant", "device", "n", "value", "standard_uncertainty"),
        *("z", "z_prime", "zeta", "en", "score_used", "verdict", "en_verdict", "asked"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(report.round_id, one.name, one.device_id or None),
                *(one.raw.result.n, one.raw.result.value, one.raw.result.uncertainty),
                *(one.raw.z, one.raw.z_prime, one.raw.zeta, one.raw.en, one.raw.used),
                *(one.verdict, str(one.raw.en_verdict or ""), one.asked),
            )
            for one in report.scores
        ),
    )


def performance_sheet(lines: Sequence[PerformanceLine]) -> Sheet:
    """One row for each participant and closed round."""
    headings = (
        *("participant", "round", "closes_on", "score", "verdict", "mean_score"),
        *("rescaled_sum", "is_biased"),
    )
    return Sheet(
        headings,
        tuple(
            (
                *(one.name, then.title, then.closes_on, then.score, then.verdict),
                *(one.mean_score, one.rescaled_sum, one.is_biased),
            )
            for one in lines
            for then in one.past
        ),
    )
