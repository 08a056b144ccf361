"""Results of an inter-site comparison round → assigned value and scores."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from qa.model.equipment_words import AssignedBy
from qa.stats.consensus import algorithm_a
from qa.stats.scores import (
    ScoreClass,
    en_class,
    en_score,
    is_negligible,
    score_class,
    z_prime_score,
    z_score,
    zeta_score,
)

FEW, WEAK = 4, 8
"""Under FEW participants there is no consensus at all (ours); under WEAK it is shown as weak
(domain notes, 7.1: six to eight, from memory)."""
COVERAGE = 2.0


@dataclass(frozen=True)
class RoundResult:
    """What one participant reports: mean of n measurements, with its standard uncertainty.

    uncertainty None: not stated, then there is no ζ and no E_n.
    """

    participant: str
    site_id: str
    value: float
    uncertainty: float | None = None
    n: int = 1


@dataclass(frozen=True)
class Assigned:
    """Against what participants are held. value None: it cannot be set, `words` says why."""

    value: float | None
    uncertainty: float | None
    sigma: float | None
    by: AssignedBy
    words: str
    is_weak: bool = False


@dataclass(frozen=True)
class Scored:
    """One participant's scores. used: "z" or "z′", whichever the standard asks for here."""

    result: RoundResult
    z: float | None = None
    z_prime: float | None = None
    zeta: float | None = None
    en: float | None = None
    used: str = ""
    verdict: ScoreClass | None = None
    en_verdict: ScoreClass | None = None

    @property
    def score(self) -> float | None:
        return self.z_prime if self.used == "z′" else self.z


@dataclass(frozen=True)
class RoundScores:
    """A round: its assigned value and every participant's scores, in the order of results."""

    assigned: Assigned
    scores: tuple[Scored, ...] = field(default_factory=tuple)


def assign_value(
    values: Sequence[float],
    *,
    by: AssignedBy,
    sigma: float | None,
    certified: tuple[float, float] | None = None,
) -> Assigned:
    """The value of a round, its uncertainty, and the standard deviation for scores.

    Args:
        values: of participants.
        sigma: what the round allows, fit for purpose; None: the robust standard deviation.
        certified: (value, expanded uncertainty with factor 2), needed for a certificate.
    Returns: Assigned. Without sigma or consensus there are no scores, and the words say why.
    Method: certificate, or Algorithm A with uncertainty 1.25 s* / √p (ISO 13528:2022, 7.7, C.3).
    Weak when: there are fewer than eight participants, or they fall into two groups.
    """
    n = len(values)
    few = f"{n} participants are too few for a consensus"
    robust = algorithm_a(values) if n >= FEW else None
    spread = sigma if sigma is not None else (robust.sd if robust else None)
    if by is AssignedBy.CERTIFICATE:
        if certified is None:
            return Assigned(None, None, None, by, "the certificate is missing")
        value, expanded = certified
        told = f"from the certificate: {value:g} ± {expanded:g} (expanded)"
        if spread is None:
            return Assigned(value, expanded / COVERAGE, None, by, f"{told}; {few}, so only E_n")
        return Assigned(value, expanded / COVERAGE, spread, by, told)
    if robust is None:
        return Assigned(None, None, None, by, f"{few}: use a certified phantom")
    is_weak = n < WEAK
    told = (
        f"robust consensus of {n} (Algorithm A): {robust.mean:.4g} ± {2 * robust.uncertainty:.2g}"
    )
    told += "; weak, as there are fewer than eight participants" if is_weak else ""
    return Assigned(robust.mean, robust.uncertainty, spread, by, told, is_weak)


def score_round(results: Sequence[RoundResult], assigned: Assigned) -> RoundScores:
    """Scores of every participant, as far as what was reported allows.

    Method: z where the uncertainty of the assigned value is below 0.3 sigma, else z′; ζ and E_n
        where the participant states an uncertainty. E_n with expanded ones (factor 2).
    References: ISO 13528:2022, clause 9; ISO/IEC 17043:2023.
    """
    return RoundScores(assigned, tuple(_scored(one, assigned) for one in results))


def _scored(one: RoundResult, assigned: Assigned) -> Scored:
    if assigned.value is None or assigned.uncertainty is None:
        return Scored(one)
    found: dict[str, float | str | ScoreClass | None] = {}
    if assigned.sigma:
        z = z_score(one.value, assigned.value, assigned.sigma)
        prime = z_prime_score(
            one.value, assigned.value, assigned.sigma, u_assigned=assigned.uncertainty
        )
        is_plain = is_negligible(assigned.uncertainty, assigned.sigma)
        found |= {
            "z": z,
            "z_prime": prime,
            "used": "z" if is_plain else "z′",
            "verdict": score_class(z if is_plain else prime),
        }
    if one.uncertainty is not None:
        u = {"u_x": one.uncertainty, "u_assigned": assigned.uncertainty}
        en = en_score(
            one.value,
            assigned.value,
            expanded_x=COVERAGE * one.uncertainty,
            expanded_assigned=COVERAGE * assigned.uncertainty,
        )
        found |= {
            "zeta": zeta_score(one.value, assigned.value, **u),
            "en": en,
            "en_verdict": en_class(en),
        }
    return Scored(one, **found)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Performance:
    """A participant over rounds: how often in which class, and the mean score (a lasting bias)."""

    participant: str
    n_rounds: int
    n_warning: int
    n_action: int
    mean_score: float
    rescaled_sum: float
    is_biased: bool


def performance(rounds: Sequence[RoundScores]) -> list[Performance]:
    """Every participant over rounds, in the order of names.

    Method: sum of scores over √rounds; beyond 3 it points to a lasting bias, as the sum of
        independent scores would have standard deviation √rounds (ISO 13528, clause 10, from
        memory).
    """
    scores: dict[str, list[Scored]] = {}
    for one in rounds:
        for scored in one.scores:
            if scored.score is not None:
                scores.setdefault(scored.result.participant, []).append(scored)
    return [_performance(name, scores[name]) for name in sorted(scores)]


def _performance(name: str, found: Sequence[Scored]) -> Performance:
    values = np.array([one.score for one in found], dtype=np.float64)
    rescaled = float(values.sum() / np.sqrt(len(values)))
    verdicts = [one.verdict for one in found]
    return Performance(
        participant=name,
        n_rounds=len(found),
        n_warning=verdicts.count(ScoreClass.WARNING),
        n_action=verdicts.count(ScoreClass.ACTION),
        mean_score=float(values.mean()),
        rescaled_sum=rescaled,
        is_biased=len(found) > 1 and abs(rescaled) >= 3,
    )
