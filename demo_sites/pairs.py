"""paired_exams: a second operator examines the same patient right after the first, to compare.

Pairs are drawn when everything else has happened, from random numbers of their own, so that a
scenario with pairs has the same other exams as one without.
"""

import numpy as np

from demo_sites.patients import Columns
from demo_sites.plan import Registers
from demo_sites.planted import Active, ActiveEvents
from demo_sites.scenario import Scenario
from demo_sites.visits import PERFORMED
from demo_sites.work import GOOD, steady_ratios

_SCATTER, _ATTENUATION_SCATTER = 0.11, 14.0
"""Of one exam around its patient; sources in work.py, draw_figures."""
_MINUTES_LATER = (15, 20, 25)


def pair_exams(
    rng: np.random.Generator,
    exams: Columns,
    *,
    scenario: Scenario,
    registers: Registers,
    events: ActiveEvents,
) -> Columns:
    """The second exams of pairs, as columns like those of exams; no rows where none is planted.

    Method: reliable exams by TE of the site, a share of them; the second operator is another one
        at home there of whom nothing else is planted; same device and probe; figures around the
        first exam's with the scatter of two exams (factor root of two).
    """
    free = np.array([one.id not in scenario.planted_operators for one in registers.operators])
    rows, operators, touched = [], [], []
    for active in events.of_kind("paired_exams"):
        chosen = _first_exams(rng, exams, active)
        home = np.flatnonzero((registers.operator_site == active.site) & free)
        other = home[None, :] != exams["operator"][chosen][:, None]
        draw = np.where(other, rng.random(other.shape), -1.0)
        rows.append(chosen)
        operators.append(home[draw.argmax(axis=1)])
        touched.append(np.full(len(chosen), active.index))
    row = np.concatenate([np.zeros(0, dtype=np.int64), *rows])
    second = {name: column[row] for name, column in exams.items()}
    second["operator"] = np.concatenate([np.zeros(0, dtype=np.int64), *operators])
    second["touched"] = np.concatenate([np.zeros(0, dtype=np.int64), *touched])
    second["minute"] = second["minute"] + rng.choice(_MINUTES_LATER, len(row))
    second["is_second"] = np.ones(len(row), dtype=bool)
    return second | _figures(rng, second)


def _first_exams(rng: np.random.Generator, exams: Columns, active: Active) -> np.ndarray:
    is_first = (
        active.touches(day=exams["day"], site=exams["site"])
        & (exams["performed"] == PERFORMED)
        & (exams["outcome"] == GOOD)
        & exams["is_te"]
        & (rng.random(len(exams["day"])) < active.strength(exams["day"]))
    )
    return np.flatnonzero(is_first)


def _figures(rng: np.random.Generator, second: Columns) -> Columns:
    n = len(second["day"])
    two = np.sqrt(2.0)
    kpa = second["kpa"] * np.exp(rng.normal(0, _SCATTER * two, n))
    attenuation = second["attenuation_db_m"] + rng.normal(0, _ATTENUATION_SCATTER * two, n)
    missed = rng.poisson(1.2, n)
    return {
        "n_valid": np.full(n, 10),
        "n_attempted": 10 + missed,
        "kpa": np.clip(kpa, 1.6, 75.0),
        "ratio": steady_ratios(rng, n),
        "attenuation_db_m": np.clip(attenuation, 100, 400),
        "attenuation_iqr_db_m": np.exp(np.log(33.4) + rng.normal(0, 0.5, n)),
    }
