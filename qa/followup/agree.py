"""What second readings say together: agreement of outcomes and of stiffness."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from qa.followup.readings import Sample, SampledExam
from qa.followup.second_read import discrepancies
from qa.model.competence_words import READ_OUTCOMES
from qa.stats.agreement import Agreement as Limits
from qa.stats.agreement import limits_of_agreement
from qa.stats.intervals import wilson_interval
from qa.stats.kappa import Kappa, weighted_kappa

KPA_DIVIDE = 9.0
"""Below and from here limits of stiffness are told apart, since differences grow with it."""


@dataclass(frozen=True)
class Agreement:
    """Second readings of exams that chance chose; picks count apart, as they are not typical.

    Args:
        is_kappa_told: each reader used two outcomes or more; else kappa is 0 or none by itself.
        n_same, n: of random exams with a second reading. lower, upper: Wilson interval.
        low, high: limits of stiffness below and from 9 kPa, random exams and picks together.
        n_picked, n_picked_same: of picks.
        n_waiting: exams that were not read yet. n_discrepant: of all that were read.
    """

    n: int
    n_same: int
    lower: float | None
    upper: float | None
    kappa: Kappa
    is_kappa_told: bool
    low: Limits
    high: Limits
    n_picked: int
    n_picked_same: int
    n_waiting: int
    n_discrepant: int


def find_agreement(samples: Iterable[Sample], *, stiffness_share: float) -> Agreement:
    """Agreement over samples. When its figures are weak: qa/stats/kappa.py and agreement.py."""
    exams = [exam for sample in samples for exam in sample.exams]
    read = [exam for exam in exams if exam.second is not None]
    random, picked = [one for one in read if one.is_random], [one for one in read if one.reason]
    n_same, table = _n_same(random), outcome_table(random)
    lower, upper = wilson_interval(n_same, len(random)) if random else (None, None)
    return Agreement(
        n=len(random),
        n_same=n_same,
        lower=None if lower is None else float(lower),
        upper=None if upper is None else float(upper),
        kappa=weighted_kappa(table),
        is_kappa_told=bool(min(table.any(axis=axis).sum() for axis in (0, 1)) > 1),
        low=_limits(read, is_high=False),
        high=_limits(read, is_high=True),
        n_picked=len(picked),
        n_picked_same=_n_same(picked),
        n_waiting=len(exams) - len(read),
        n_discrepant=sum(bool(discrepancies(one, stiffness_share=stiffness_share)) for one in read),
    )


def outcome_table(exams: Iterable[SampledExam]) -> np.ndarray:
    """Counts, first outcome in rows, second in columns, in the order of READ_OUTCOMES."""
    table = np.zeros((len(READ_OUTCOMES), len(READ_OUTCOMES)), dtype=np.int64)
    words = [one.value for one in READ_OUTCOMES]
    for exam in exams:
        if exam.second is not None:
            table[words.index(exam.first.outcome), words.index(exam.second.outcome)] += 1
    return table


def _n_same(exams: Iterable[SampledExam]) -> int:
    return sum(one.second is not None and one.first.outcome == one.second.outcome for one in exams)


def _limits(exams: Sequence[SampledExam], *, is_high: bool) -> Limits:
    pairs = [
        (one.first.stiffness_kpa, one.second.stiffness_kpa)
        for one in exams
        if one.second is not None
        and one.first.stiffness_kpa is not None
        and one.second.stiffness_kpa is not None
    ]
    part = [pair for pair in pairs if (sum(pair) / 2 >= KPA_DIVIDE) is is_high]
    return limits_of_agreement([one - other for one, other in part])


def agreement_lines(found: Agreement) -> list[str]:
    """In sentences; what cannot be told is said."""
    lines = []
    if found.n and found.lower is not None and found.upper is not None:
        lines.append(
            f"{found.n_same} of {found.n} exams drawn by chance had the same outcome twice "
            f"({100 * found.n_same / found.n:.0f} %, 95 % interval {100 * found.lower:.0f} to "
            f"{100 * found.upper:.0f} %)."
        )
        lines.append(_kappa_line(found))
    else:
        lines.append("No exam drawn by chance was read a second time yet.")
    if found.n_picked:
        lines.append(f"Picks, told apart: {found.n_picked_same} of {found.n_picked} the same.")
    for limits, where in ((found.low, "below"), (found.high, "from")):
        lines += _limit_lines(limits, f"{where} {KPA_DIVIDE:.0f} kPa")
    if found.n_discrepant:
        verb = "differs" if found.n_discrepant == 1 else "differ"
        lines.append(f"{found.n_discrepant} {verb} by more than is allowed.")
    if found.n_waiting:
        lines.append(f"{found.n_waiting} {'waits' if found.n_waiting == 1 else 'wait'} to be read.")
    return lines


def _kappa_line(found: Agreement) -> str:
    if not found.is_kappa_told:
        return "Kappa cannot be told: a reader used one outcome only."
    lower, upper = found.kappa.interval()
    return (
        f"Kappa {found.kappa.value:.2f} (95 % interval {lower:.2f} to {upper:.2f}; "
        "rough below about 50 exams)."
    )


def _limit_lines(found: Limits, where: str) -> list[str]:
    if found.n == 0:
        return []
    if found.n < 2:
        return [f"Stiffness {where}: one pair, {found.mean:+.1f} kPa."]
    return [
        f"Stiffness {where}: first less second {found.mean:+.2f} kPa, limits of agreement "
        f"{found.lower:+.2f} to {found.upper:+.2f} ({found.n} pairs)."
    ]
