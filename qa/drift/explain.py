"""Why did a share move? Explanations weighed against each other, and the change shared out.

Each explanation says that one thing moved: nothing but who came and who examined them, one
operator, one device, one probe, one technique, or everybody at the site alike. Its evidence is that
of a logistic model of the exams before and after, given levels of operators, devices, probes and
techniques that held before, and what was to be expected of the patients.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import expit

from qa.drift.causes import (
    ALIKE,
    FEWEST,
    KIND_OF,
    LEVEL_SPREAD,
    MICRO,
    NOTHING,
    PARTS,
    PRIOR,
    SHIFT_SPREAD,
    Explained,
    Explanation,
    Key,
    Part,
)
from qa.drift.exam_cells import FACTORS
from qa.stats.ridge_logistic import fit_ridge_logistic
from qa.stats.share_out import share_out

Floats = NDArray[np.float64]

CENTRE_SPREAD = 3.0
KEPT_WEIGHT = 0.05
"""Explanations less likely than this have no share in the parts."""
ROUNDS = 200


def explain_change(
    before: pl.DataFrame,
    after: pl.DataFrame,
    *,
    rng: np.random.Generator,
    rounds: int = ROUNDS,
    leaning: Mapping[Key, float] | None = None,
    weights: Mapping[Key, float] | None = None,
) -> Explained:
    """Share out the change of a share between two periods, and weigh what may have caused it.

    Args:
        before, after: exam_cells of each period, both with exams.
        rng: for the bootstrap.
        leaning: ln of a factor to each explanation's evidence, from elsewhere (0 where missing).
        weights: the probabilities themselves, from better evidence; None: from these cells.
    Returns: Explained. Parts are averaged over all orders in which factors may change (Das Gupta)
        and over explanations by their weight; the remainder is what no part holds.
    Weak when: two things moved at once (the likelier one is named); exams of a month hang
        together; a site has one device or one operator, which then cannot be told from the site.
    References: Kitagawa, JASA 1955; Das Gupta, US Census P23-186, 1993; Kass and Raftery, JASA
        1995; Efron and Tibshirani, An Introduction to the Bootstrap, 1993 (percentiles).
    """
    cells = pl.concat(
        [before.with_columns(is_after=False), after.with_columns(is_after=True)]
    ).sort("is_after", *FACTORS, "log_odds")
    table = _Table(cells)
    k, n = table.events[None, :], table.n[None, :]
    candidates = table.candidates(leaning or {}, weights)
    fits = [table.fit(one, k, n) for one in candidates]
    likely = _weights(candidates, np.array([[fit.evidence[0]] for fit in fits]))[:, 0]
    kept = [number for number in range(len(fits)) if likely[number] >= KEPT_WEIGHT]
    chosen = [candidates[number] for number in kept]
    total = _change(table, k, n)
    found = _parts(table, chosen, k, n)
    again = _parts(table, chosen, *table.drawn_again(rng, rounds))
    low, high = np.quantile(again, [0.025, 0.975], axis=1)
    order = np.argsort(-likely, kind="stable")
    return Explained(
        *table.sizes(),
        change_micro=_micro(total[0]),
        parts=_in_millionths(found[:, 0], low, high, _micro(total[0])),
        explanations=tuple(
            Explanation(
                candidates[i].kind,
                candidates[i].members,
                float(likely[i]),
                float(fits[i].coefficients[0, -1]) if candidates[i].kind != NOTHING else 0.0,
                int(table.n[candidates[i].mask].sum()),
            )
            for i in order
        ),
    )


def _micro(share: float) -> int:
    return round(float(share) * MICRO)


def _in_millionths(found: Floats, low: Floats, high: Floats, total: int) -> tuple[Part, ...]:
    """Whole numbers that add up: the remainder takes what rounding leaves."""
    numbers = [_micro(one) for one in found[:-1]]
    numbers.append(total - sum(numbers))
    return tuple(
        Part(name, number, _micro(a), _micro(b))
        for name, number, a, b in zip(PARTS, numbers, low, high, strict=True)
    )


@dataclass(frozen=True)
class _Candidate:
    kind: str
    members: tuple[tuple[str, str], ...]
    mask: NDArray[np.bool_]
    log_prior: float
    is_known: bool = False
    """Its probability is given, whatever these cells say."""


@dataclass(frozen=True)
class _Fit:
    coefficients: Floats
    evidence: Floats


class _Table:
    """The cells as arrays, and the columns of the lasting levels."""

    def __init__(self, cells: pl.DataFrame) -> None:
        self.n = cells["n"].to_numpy().astype(float)
        self.events = cells["n_events"].to_numpy().astype(float)
        self.offset = cells["log_odds"].to_numpy()
        self.is_after = cells["is_after"].to_numpy()
        self.levels = {name: cells[name].to_numpy() for name in FACTORS}
        columns, spread, factor = [np.ones(len(self.n))], [CENTRE_SPREAD], [""]
        for name in FACTORS:
            members = sorted(set(self.levels[name]))
            for member in members if len(members) > 1 else ():
                columns.append((self.levels[name] == member).astype(float))
                spread.append(LEVEL_SPREAD[name])
                factor.append(name)
        self.design, self.spread, self.factor = np.column_stack(columns), spread, factor

    def sizes(self) -> tuple[int, int, int, int]:
        n_after, events_after = (int(one[self.is_after].sum()) for one in (self.n, self.events))
        n, events = int(self.n.sum()), int(self.events.sum())
        return n - n_after, events - events_after, n_after, events_after

    def candidates(
        self, leaning: Mapping[Key, float], weights: Mapping[Key, float] | None
    ) -> list[_Candidate]:
        """One for each set of exams after the change that can be told apart from others."""
        named: list[tuple[str, tuple[tuple[str, str], ...], NDArray[np.bool_]]] = [
            (ALIKE, (), self.is_after)
        ]
        for name in FACTORS:
            known = sorted(set(self.levels[name]))
            # One technique or probe for all is no other explanation than "everybody alike".
            for member in known if len(known) > 1 or name == "device_id" else ():
                is_here = self.levels[name] == member
                sizes = [self.n[is_here & (self.is_after == side)].sum() for side in (False, True)]
                if min(sizes) >= FEWEST:
                    named.append((KIND_OF[name], ((name, str(member)),), is_here & self.is_after))
        found: dict[bytes, tuple[Key, NDArray[np.bool_], float]] = {
            b"": ((NOTHING, ()), np.zeros(len(self.n), dtype=bool), PRIOR[NOTHING])
        }
        for kind, members, mask in named:
            code, prior = mask.tobytes(), PRIOR[kind]
            if (same := found.get(code)) is not None:
                kind, members, prior = same[0][0], same[0][1] + members, same[2] + prior
            found[code] = ((kind, members), mask, prior)
        given = weights if weights and any(weights.get(one[0]) for one in found.values()) else None
        return [
            _Candidate(*key, mask, float(np.log(prior)) + leaning.get(key, 0.0))
            if given is None
            else _Candidate(*key, mask, float(np.log(given.get(key, 0.0) or 1e-300)), True)
            for key, mask, prior in found.values()
        ]

    def fit(self, one: _Candidate, events: Floats, n: Floats) -> _Fit:
        design, spread = self.design, self.spread
        if one.kind != NOTHING:
            design = np.column_stack([design, one.mask])
            spread = [*spread, SHIFT_SPREAD]
        found = fit_ridge_logistic(design, events, n, offset=self.offset, spread=spread)
        return _Fit(found.coefficients, found.log_evidence)

    def drawn_again(self, rng: np.random.Generator, rounds: int) -> tuple[Floats, Floats]:
        """Exams of each period drawn with replacement: events and exams, (rounds, cells)."""
        events, n = np.zeros((2, rounds, len(self.n)))
        for side in (False, True):
            here = self.is_after == side
            pool = np.concatenate([self.events[here], (self.n - self.events)[here]])
            drawn = rng.multinomial(int(pool.sum()), pool / pool.sum(), size=rounds)
            half = int(here.sum())
            events[:, here] = drawn[:, :half]
            n[:, here] = drawn[:, :half] + drawn[:, half:]
        return events, n

    def mean(self, values: Floats, n: Floats, *, side: bool) -> Floats:
        """Mean over the exams of one period; values: (data sets, cells)."""
        here = n * (self.is_after == side)
        return np.asarray((values * here).sum(axis=1) / here.sum(axis=1))


def _change(table: _Table, events: Floats, n: Floats) -> Floats:
    share = np.divide(events, n, out=np.zeros_like(n), where=n > 0)
    return table.mean(share, n, side=True) - table.mean(share, n, side=False)


def _weights(candidates: Sequence[_Candidate], evidence: Floats) -> Floats:
    """Probability of each candidate: (candidates, data sets)."""
    seen = np.where([[one.is_known] for one in candidates], 0.0, evidence)
    log = seen + np.array([one.log_prior for one in candidates])[:, None]
    weight = np.exp(log - log.max(axis=0))
    return np.asarray(weight / weight.sum(axis=0))


def _parts(table: _Table, chosen: Sequence[_Candidate], events: Floats, n: Floats) -> Floats:
    """Parts in the order of PARTS, averaged over explanations: (parts, data sets)."""
    fits = [table.fit(one, events, n) for one in chosen]
    weights = _weights(chosen, np.array([fit.evidence for fit in fits]))
    parts = np.sum(
        [
            weight * _parts_of(table, one, fit.coefficients, n)
            for weight, one, fit in zip(weights, chosen, fits, strict=True)
        ],
        axis=0,
    )
    remainder = _change(table, events, n) - parts.sum(axis=0)
    return np.vstack([parts, remainder])


def _parts_of(table: _Table, one: _Candidate, coefficients: Floats, n: Floats) -> Floats:
    """Parts of all but the remainder where one explanation holds: (parts, data sets)."""
    sides = {side: _mean_levels(table, coefficients, n, side=side) for side in (False, True)}
    shift, share = np.zeros(len(n)), np.zeros(len(n))
    if one.kind != NOTHING:
        shift = coefficients[:, -1]
        share = table.mean(np.broadcast_to(one.mask, n.shape), n, side=True)

    def figure(changed: tuple[bool, ...]) -> Floats:
        patients, *others = changed
        states = dict(zip(PARTS[1:-1], others, strict=True))
        centre = coefficients[:, 0] + sum(sides[side][kind] for kind, side in states.items())
        plain = table.offset + np.asarray(centre)[:, None]
        flat = table.mean(expit(plain), n, side=patients)
        if not states.get(one.kind):
            return flat
        moved = table.mean(expit(plain + shift[:, None]), n, side=patients)
        return (1 - share) * flat + share * moved

    return np.array(share_out(figure, len(PARTS) - 1))


def _mean_levels(
    table: _Table, coefficients: Floats, n: Floats, *, side: bool
) -> dict[str, Floats]:
    """Mean log odds that the lasting levels of each kind give one period: kind → (data sets,)."""
    found = {kind: np.zeros(len(coefficients)) for kind in PARTS[1:-1]}
    for name in FACTORS:
        columns = [k for k, factor in enumerate(table.factor) if factor == name]
        levels = coefficients[:, columns] @ table.design[:, columns].T
        found[KIND_OF[name]] = found[KIND_OF[name]] + table.mean(levels, n, side=side)
    return found
