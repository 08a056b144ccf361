"""Many invented networks without any change, in one frame: each with measures of its own.

One call of the product's functions then charts and lists hundreds of networks, exactly as it would
chart and list one: measures of different networks share no unit, no baseline and no funnel. The
budget, which is that of all measures together, is multiplied by the number of networks.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from qa.model.definitions import Measure, Settings
from qa.model.months import add_months
from qa.model.schemas import MEASURE_VALUES
from tests.simulated import FIRST_MONTH, list_signals, new_items
from tests.unit.charts.frames import make_measure


@dataclass(frozen=True)
class NetworkShape:
    """One kind of network: n_sites sites, operators at home in turn, one share for each measure.

    exams: mean exams of an operator and month (Poisson). strength: how alike operators are, of a
    beta distribution around the measure's rate. budget: false items a month of one network.
    """

    n_sites: int
    n_operators: int
    rates: tuple[float, ...]
    exams: float = 37.0
    strength: float = 100.0
    budget: float = Settings().false_items_per_month

    def settings(self, n_networks: int, **changes: int) -> Settings:
        return Settings(false_items_per_month=self.budget * n_networks, **changes)

    def measures(self, n_networks: int) -> list[Measure]:
        """Each of a family of its own: no item joins two of them."""
        return [
            make_measure(id=f"MSR-{number:05d}", key=f"invented_{number}")
            for number in range(n_networks * len(self.rates))
        ]


@dataclass(frozen=True)
class Change:
    """From a month on, each network's first operators have a larger share in all measures.

    They start at the measure's rate itself; the others differ as the shape says.
    """

    n_operators: int
    by: float
    from_month: int


def false_items(
    rng: np.random.Generator,
    shape: NetworkShape,
    *,
    n_networks: int,
    baseline_months: int,
    watched_months: int,
) -> np.ndarray:
    """Items that each of the networks opens in its watched months."""
    values = simulate_networks(
        rng, shape, n_networks=n_networks, n_months=baseline_months + watched_months
    )
    settings = shape.settings(n_networks, baseline_months=baseline_months)
    signals = list_signals(values, shape.measures(n_networks), settings=settings)
    numbers = new_items(signals)["measure_id"].str.slice(4).cast(pl.Int64).to_numpy()
    return np.bincount(numbers // len(shape.rates), minlength=n_networks)


def simulate_networks(
    rng: np.random.Generator,
    shape: NetworkShape,
    *,
    n_networks: int,
    n_months: int,
    change: Change | None = None,
) -> pl.DataFrame:
    """MEASURE_VALUES of operators, their sites and each whole network."""
    size = (n_months, n_networks, len(shape.rates), shape.n_operators)
    rates = np.array(shape.rates)[None, :, None]
    shares = rng.beta(rates * shape.strength, (1 - rates) * shape.strength, size[1:])
    n = np.maximum(rng.poisson(shape.exams, (n_months, n_networks, 1, shape.n_operators)), 1)
    n = np.broadcast_to(n, size)
    if change is None:
        events = rng.binomial(n, shares)
    else:
        shares[..., : change.n_operators] = rates[0]
        before, after = np.split(n, [change.from_month])
        moved = shares.copy()
        moved[..., : change.n_operators] += change.by
        events = np.concatenate([rng.binomial(before, shares), rng.binomial(after, moved)])
    homes = np.arange(shape.n_operators) % shape.n_sites
    at_home = (homes[:, None] == np.arange(shape.n_sites)).astype(np.int64)
    return pl.concat(
        [
            _values("operator", n, events, homes),
            _values("site", n @ at_home, events @ at_home, np.arange(shape.n_sites)),
            _values("network", n.sum(-1, keepdims=True), events.sum(-1, keepdims=True), None),
        ]
    )


def _values(kind: str, n: np.ndarray, events: np.ndarray, homes: np.ndarray | None) -> pl.DataFrame:
    """MEASURE_VALUES of arrays (month, network, measure, unit)."""
    n_months, n_networks, n_measures, n_units = n.shape
    month, network, measure, unit = (axis.ravel() for axis in np.indices(n.shape))

    def named(prefix: str, numbers: np.ndarray, most: int) -> pl.Series:
        return pl.Series([f"{prefix}{number:05d}" for number in range(most)]).gather(numbers)

    months = pl.Series([add_months(FIRST_MONTH, number) for number in range(n_months)])
    sites = None
    if homes is not None:
        per_network = int(homes.max()) + 1
        at = network * per_network + homes[unit]
        sites = named("site-", at, n_networks * per_network)
    return MEASURE_VALUES.conform(
        pl.DataFrame(
            {
                "month": months.gather(month),
                "unit_kind": pl.Series([kind]).gather(np.zeros_like(month)),
                "unit_id": named(f"{kind}-", network * n_units + unit, n_networks * n_units),
                "site_id": sites if sites is not None else pl.repeat(None, n.size, eager=True),
                "measure_id": named(
                    "MSR-", network * n_measures + measure, n_networks * n_measures
                ),
                "criteria_id": pl.Series(["plain.v1"]).gather(np.zeros_like(month)),
                "n_events": events.ravel(),
                "n": np.ascontiguousarray(n).ravel(),
                "value": events.ravel() / n.ravel(),
            }
        )
    )
