"""What other charts need to find a shift, at a given rate of false items: no chart of ours."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.special

from qa.stats.run_rules import WESTERN_ELECTRIC

N_SERIES, NODES = 12_000, 41
BASELINE, WATCHED, HORIZON = 12, 36, 48

Counts = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Yardsticks:
    """Charts of binomial counts around a share before, each set to the same rate of false items.

    rate: items a month that a steady series opens over 36 months after its baseline; a chart that
    has called begins anew. Months to a call are counted from the shift, which comes `calm` months
    after the baseline, among series that were not called before.
    """

    rng: np.random.Generator
    exams: float
    before: float
    strength: float
    rate: float
    calm: int

    def known(self, after: float) -> np.ndarray:
        """The CUSUM made for this shift; the share before is known for certain (Page 1954)."""

        def chart(counts: Counts, limit: float) -> np.ndarray:
            return _known(counts, self.before, _odds(after) / _odds(self.before), limit)

        steady = self._counts(np.full(N_SERIES, self.before), WATCHED)
        limit = _falling(lambda one: _new_calls(chart(steady, one)), self.rate, 1.0, 12.0)
        return self._months(chart(self._shifted(after), limit))

    def estimated(self, after: float) -> np.ndarray:
        """The best there is where the share before has to be estimated.

        A Shiryaev-Roberts sum for each share that it may have been, weighed by what peers, the
        twelve months and the months since say of it: the likelihood of a change at any month
        against none. Optimal among detectors that know as much (Shiryaev 1963, Roberts 1966,
        Pollak 1985, from memory), but for how often it may restart.
        """
        odds = _odds(after) / _odds(self.before)
        own = self.rng.beta(
            self.before * self.strength, (1 - self.before) * self.strength, N_SERIES
        )
        nodes, steady = self._nodes(own), self._counts(own, WATCHED)

        def calls(limit: float) -> float:
            return _new_calls(_estimated(steady, nodes, odds, limit))

        limit = _falling(calls, self.rate, 2.0, 14.0)
        nodes = self._nodes(np.full(N_SERIES, self.before))
        return self._months(_estimated(self._shifted(after), nodes, odds, limit))

    def plain_chart(self, after: float) -> np.ndarray:
        """The p-chart with the four rules of 1956, sigma drawn wider; centre of twelve months."""
        own = self.rng.beta(
            self.before * self.strength, (1 - self.before) * self.strength, N_SERIES
        )
        centre, steady = self._centre(own), self._counts(own, WATCHED)

        def calls(width: float) -> float:
            found = _plain(steady, centre, width)
            return float((found & ~np.vstack([np.zeros((1, N_SERIES), bool), found[:-1]])).mean())

        width = _falling(calls, self.rate, 1.0, 6.0)
        centre = self._centre(np.full(N_SERIES, self.before))
        return self._months(_plain(self._shifted(after), centre, width))

    def _counts(self, share: np.ndarray, n_months: int) -> Counts:
        n = np.maximum(self.rng.poisson(self.exams, (n_months, N_SERIES)), 1)
        return self.rng.binomial(n, share), n

    def _shifted(self, after: float) -> Counts:
        """Counts of the calm months and those after the shift."""
        calm = self._counts(np.full(N_SERIES, self.before), self.calm)
        later = self._counts(np.full(N_SERIES, after), HORIZON)
        events, n = (np.vstack(pair) for pair in zip(calm, later, strict=True))
        return events, n

    def _centre(self, share: np.ndarray) -> np.ndarray:
        """Share over twelve months, half an event added so that it is never 0."""
        events, n = self._counts(share, BASELINE)
        return np.asarray((events.sum(axis=0) + 0.5) / (n.sum(axis=0) + 1))

    def _nodes(self, share: np.ndarray) -> np.ndarray:
        """Shares that each series may have, equally likely after its twelve months."""
        events, n = (one.sum(axis=0)[:, None] for one in self._counts(share, BASELINE))
        a = self.before * self.strength + events
        b = (1 - self.before) * self.strength + n - events
        return np.asarray(scipy.special.betaincinv(a, b, (np.arange(NODES) + 0.5) / NODES))

    def _months(self, calls: np.ndarray) -> np.ndarray:
        calm, later = np.split(calls, [self.calm])
        asked = later[:, ~calm.any(axis=0)]
        return np.where(asked.any(axis=0), asked.argmax(axis=0) + 1.0, HORIZON + 1.0)


def _odds(share: float) -> float:
    return share / (1 - share)


def _falling(calls: Callable[[float], float], rate: float, low: float, high: float) -> float:
    """The least limit at which calls come no more often than the rate."""
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (middle, high) if calls(middle) > rate else (low, middle)
    return high


def _new_calls(calls: np.ndarray) -> float:
    return float(calls.mean())


def _scores(
    events: np.ndarray, n: np.ndarray, share: np.ndarray | float, odds: float
) -> np.ndarray:
    return np.asarray(events * np.log(odds) - n * np.log1p(np.asarray(share) * (odds - 1)))


def _known(counts: Counts, share: float, odds: float, limit: float) -> np.ndarray:
    calls, sums = np.zeros(counts[0].shape, dtype=bool), np.zeros(counts[0].shape[1])
    for month, (events, n) in enumerate(zip(*counts, strict=True)):
        sums = np.maximum(sums + _scores(events, n, share, odds), 0.0)
        calls[month] = sums >= limit
        sums[calls[month]] = 0.0
    return calls


def _estimated(counts: Counts, nodes: np.ndarray, odds: float, limit: float) -> np.ndarray:
    """Calls where the logarithm of the weighed sums reaches the limit."""
    calls = np.zeros(counts[0].shape, dtype=bool)
    sums, weights = np.zeros(nodes.shape), np.full(nodes.shape, 1.0 / NODES)
    growth = np.log1p(nodes * (odds - 1))
    yes, no = np.log(nodes), np.log1p(-nodes)
    for month, (events, n) in enumerate(zip(*counts, strict=True)):
        x, size = events[:, None], n[:, None]
        sums = (1 + sums) * np.exp(x * np.log(odds) - size * growth)
        likely = x * yes + (size - x) * no
        weights *= np.exp(likely - likely.max(axis=1, keepdims=True))
        weights /= weights.sum(axis=1, keepdims=True)
        calls[month] = np.log((weights * sums).sum(axis=1)) >= limit
        sums[calls[month]] = 0.0
    return calls


def _plain(counts: Counts, centre: np.ndarray, width: float) -> np.ndarray:
    """Where the four rules of 1956 call upwards, with sigma drawn `width` times as wide."""
    events, n = counts
    z = (events / n - centre) / np.sqrt(centre * (1 - centre) / n) / width
    flat = z.T.ravel()
    segments = np.repeat(np.arange(z.shape[1]), z.shape[0])
    calls = np.zeros(z.size, dtype=bool)
    for rule in WESTERN_ELECTRIC:
        calls |= rule.finds(np.maximum(flat, -1e-9), segments) & (flat > 0)
    return calls.reshape(z.shape[1], z.shape[0]).T
