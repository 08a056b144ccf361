"""Who comes when: new patients, planned follow-ups, recalls and confirmations, month by month."""

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from demo_sites.patients import Columns, invent_patients
from demo_sites.plan import Registers
from demo_sites.planted import ActiveEvents, day_number
from demo_sites.scenario import Scenario
from demo_sites.work import (
    GOOD,
    WIDE,
    Chances,
    choose_outcomes,
    choose_probes,
    draw_figures,
    set_chances,
)
from qa.model.months import add_months

ORDER_FIRST, ORDER_FOLLOW_UP, ORDER_RECALL, ORDER_CONFIRMATION = 0, 1, 2, 3
PERFORMED, INELIGIBLE, REFUSED, NOT_DONE = 0, 1, 2, 3

WARM_UP_MONTHS = 14
"""Months run before the first and thrown away, so that follow-ups and repeats are under way when
the network's first month begins."""

_BUSY = (1.04, 1.02, 1.08, 0.98, 1.04, 1.05, 0.93, 0.86, 1.06, 1.10, 1.06, 0.78)
"""How busy the months January to December are, around 1."""


@dataclass
class Clinic:
    """The state of the simulation: everything the months share."""

    scenario: Scenario
    registers: Registers
    events: ActiveEvents
    rng: np.random.Generator
    chances: Chances
    patients: Columns = field(default_factory=dict)
    n_done: np.ndarray = field(default_factory=lambda: np.zeros(0))
    due: dict[int, list[Columns]] = field(default_factory=dict)
    month_days: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    def first_day(self, month: int) -> date:
        """First day of a month of the run; month 0 is the first of the warm-up."""
        return add_months(self.scenario.first_month, month - WARM_UP_MONTHS)


def simulate_exams(
    scenario: Scenario,
    registers: Registers,
    events: ActiveEvents,
    rng: np.random.Generator,
) -> tuple[Columns, Columns]:
    """Run all months.

    Returns: (exams, patients): exams in order of month; `patient` is a row of patients.
    """
    clinic = Clinic(scenario, registers, events, rng, set_chances(rng, scenario.rates))
    clinic.n_done = np.where(registers.start_month == 0, 600, 0)
    n_months = WARM_UP_MONTHS + scenario.n_months
    clinic.month_days = np.array([day_number(clinic.first_day(k)) for k in range(n_months + 1)])
    parts: list[Columns] = []
    for month in range(n_months):
        exams_of_month = _run_month(clinic, month)
        if month >= WARM_UP_MONTHS:
            parts += exams_of_month
    exams = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return exams, clinic.patients


def _run_month(clinic: Clinic, month: int) -> list[Columns]:
    """All exams of a month; those due again within it follow in further passes."""
    waiting = clinic.due.pop(month, [])
    waiting.append(_new_visits(clinic, month, n_waiting=sum(len(v["day"]) for v in waiting)))
    parts = []
    while waiting:
        visits = {name: np.concatenate([part[name] for part in waiting]) for name in waiting[0]}
        exams = _examine(clinic, visits, month)
        parts.append(exams)
        _plan_next(clinic, exams)
        waiting = clinic.due.pop(month, [])
    done = np.concatenate([part["operator"] for part in parts])
    clinic.n_done = clinic.n_done + np.bincount(done, minlength=len(clinic.n_done))
    return parts


def _weights(clinic: Clinic, month: int) -> np.ndarray:
    """Exams expected of each operator in a month."""
    calendar = clinic.first_day(month).month
    is_there = clinic.registers.start_month <= max(month - WARM_UP_MONTHS, 0)
    busy = _BUSY[calendar - 1] if clinic.scenario.n_months > 11 else 1.0
    return clinic.registers.exams_a_month * is_there * busy


def _new_visits(clinic: Clinic, month: int, *, n_waiting: int) -> Columns:
    """New patients fill what follow-ups and repeats leave free; at least a quarter are new."""
    rng, registers = clinic.rng, clinic.registers
    wanted = np.bincount(
        registers.operator_site, _weights(clinic, month), minlength=len(clinic.scenario.sites)
    )
    share = max(0.25, 1.0 - 1.03 * n_waiting / max(wanted.sum(), 1.0))
    n_by_site = rng.poisson(wanted * share)
    site = np.repeat(np.arange(len(n_by_site)), n_by_site)
    day = rng.integers(clinic.month_days[month], clinic.month_days[month + 1], len(site))
    children = np.array([one.paediatric_share for one in clinic.scenario.sites])
    new = invent_patients(rng, site, day, events=clinic.events, paediatric_share=children)
    first = len(clinic.patients["site"]) if clinic.patients else 0
    clinic.patients = (
        {name: np.concatenate([old, new[name]]) for name, old in clinic.patients.items()}
        if clinic.patients
        else new
    )
    return {
        "patient": first + np.arange(len(site)),
        "day": day,
        "order": np.full(len(site), ORDER_FIRST),
    }


def _working_days(day: np.ndarray, *, first: int, before: int) -> np.ndarray:
    """Move weekends to Monday, or to Friday at the end of the month (1970-01-01 was a Thursday)."""
    weekday = (day + 3) % 7
    moved = np.where(weekday >= 5, day + 7 - weekday, day)
    return np.clip(np.where(moved >= before, moved - 3, moved), first, before - 1)


def _examine(clinic: Clinic, visits: Columns, month: int) -> Columns:
    """Visits → exams with operator, device, outcome and figures."""
    rng, events, registers = clinic.rng, clinic.events, clinic.registers
    exams = visits | {name: column[visits["patient"]] for name, column in clinic.patients.items()}
    n = len(visits["day"])
    exams["day"] = _working_days(
        visits["day"], first=clinic.month_days[month], before=clinic.month_days[month + 1]
    )
    exams["minute"] = 8 * 60 + 5 * rng.integers(0, 106, n)
    exams["touched"] = np.full(n, -1)
    exams["operator"] = _choose_by_site(
        rng, exams["site"], registers.operator_site, _weights(clinic, month)
    )
    exams["device"] = _choose_by_site(
        rng, exams["site"], registers.device_site, registers.device_share
    )
    exams["age"] = (exams["day"] - exams["birth_day"]) / 365.25
    exams |= _techniques(rng, exams["device"], registers)
    exams["probe"], exams["is_misfit"] = choose_probes(rng, exams, events)
    exams["outcome"] = choose_outcomes(
        rng,
        exams,
        chances=clinic.chances,
        skill=registers.skill,
        n_done=clinic.n_done,
        events=events,
    )
    exams["performed"] = _performed(rng, n, clinic.scenario)
    exams["is_retry"] = np.zeros(n, dtype=bool)
    exams = _add_tries(rng, exams, events)
    return exams | draw_figures(rng, exams, _bias(exams, events))


def _choose_by_site(
    rng: np.random.Generator, site: np.ndarray, home: np.ndarray, weight: np.ndarray
) -> np.ndarray:
    """For each site in `site` one of the units at home there, in proportion to weight.

    `home` rises, so one running sum over all units serves all sites at once.
    """
    running = np.cumsum(weight)
    total = np.bincount(home, weight)
    before = np.concatenate([[0.0], np.cumsum(total)[:-1]])
    chosen = np.searchsorted(running, before[site] + rng.random(len(site)) * total[site], "right")
    last = np.searchsorted(home, site, "right") - 1
    return np.minimum(chosen, last)


def _techniques(rng: np.random.Generator, device: np.ndarray, registers: Registers) -> Columns:
    names = ("TE", "pSWE", "2D-SWE")
    most = max(len(one) for one in registers.device_techniques)
    table = np.array(
        [
            [names.index(one[k % len(one)]) for k in range(most)]
            for one in registers.device_techniques
        ]
    )
    count = np.array([len(one) for one in registers.device_techniques])
    technique = table[device, (rng.random(len(device)) * count[device]).astype(np.int64)]
    return {"technique": technique, "is_te": technique == 0, "is_2d": technique == 2}


def _performed(rng: np.random.Generator, n: int, scenario: Scenario) -> np.ndarray:
    rates = scenario.rates
    edges = np.cumsum([rates.not_done, rates.refused, rates.ineligible])
    draw = rng.random(n)
    return np.select(
        [draw < edges[0], draw < edges[1], draw < edges[2]], [NOT_DONE, REFUSED, INELIGIBLE]
    )


def _add_tries(rng: np.random.Generator, exams: Columns, events: ActiveEvents) -> Columns:
    """repeats_until_reliable: put one to three tries of wide spread before some good exams."""
    drawn = np.full(len(exams["day"]), -1)
    hit = events.draw(
        rng, "repeats_until_reliable", day=exams["day"], operator=exams["operator"], into=drawn
    )
    hit &= (exams["outcome"] == GOOD) & (exams["performed"] == PERFORMED)
    if not hit.any():
        return exams
    tries = np.where(hit, np.minimum(rng.geometric(0.6, len(hit)), 3), 0)
    exams["touched"] = np.where(hit, drawn, exams["touched"])
    exams["minute"] = np.where(hit, np.minimum(exams["minute"], 16 * 60), exams["minute"])
    row = np.repeat(np.arange(len(hit)), tries + 1)
    place = np.arange(len(row)) - np.repeat(np.cumsum(tries + 1) - tries - 1, tries + 1)
    result = {name: column[row] for name, column in exams.items()}
    is_try = place < tries[row]
    result["outcome"] = np.where(is_try, WIDE, result["outcome"])
    result["is_retry"] = hit[row] & (place > 0)
    result["minute"] = result["minute"] + 12 * place
    result["order"] = np.where(result["is_retry"], ORDER_RECALL, result["order"])
    return result


def _bias(exams: Columns, events: ActiveEvents) -> np.ndarray:
    result = np.ones(len(exams["day"]))
    for active in events.of_kind("device_bias"):
        touched = active.touches(day=exams["day"], device=exams["device"])
        result = result * (1 + active.strength(exams["day"]) * touched)
    return result


def _plan_next(clinic: Clinic, exams: Columns) -> None:
    """Recall after a poor exam, confirmation after a high one, follow-up for some of the rest."""
    rng, rates = clinic.rng, clinic.scenario.rates
    n = len(exams["day"])
    is_last = np.append(exams["patient"][1:] != exams["patient"][:-1], True)
    was_done = exams["performed"] == PERFORMED
    is_poor = was_done & (exams["outcome"] != GOOD)
    is_high = was_done & ~is_poor & (exams["kpa"] >= 10)
    draw = rng.random(n)
    recall = is_last & is_poor & (draw < rates.repeated)
    confirm = is_last & is_high & (draw < 0.20)
    follow = is_last & ~recall & ~confirm & (rng.random(n) < rates.followed_up)
    for who, order, low, high in (
        (recall, ORDER_RECALL, 5, 80),
        (confirm, ORDER_CONFIRMATION, 14, 150),
        (follow, ORDER_FOLLOW_UP, 185, 420),
    ):
        day = exams["day"][who] + rng.integers(low, high, int(who.sum()))
        month = np.searchsorted(clinic.month_days, day, "right") - 1
        patient = exams["patient"][who]
        for one in np.unique(month):
            if one < len(clinic.month_days) - 1:
                here = month == one
                clinic.due.setdefault(int(one), []).append(
                    {
                        "patient": patient[here],
                        "day": day[here],
                        "order": np.full(int(here.sum()), order),
                    }
                )
