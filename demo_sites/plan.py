"""Scenario → registers: who works where, with which device, how much, from when."""

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from demo_sites.scenario import Scenario
from qa.model.definitions import Assignment, Device, Operator
from qa.model.months import add_months, parse_month

_ARFI_SHARE = 0.25
"""Share of a site's exams done on its pSWE or 2D-SWE devices."""

_FREE_PLACE = 8
"""A visitor's or moved device's code is one that nobody at the site has."""


@dataclass(frozen=True)
class Registers:
    """Operators and devices as arrays, in the order of their ids (site by site).

    Args:
        operator_site, device_site: index of the site.
        exams_a_month: mean number of exams of an operator.
        start_month: index of the operator's first month (0: was there before).
        skill: what an operator adds to the log odds of a poor exam (0: average).
        device_share: share of its site's exams that a device does.
        device_techniques: the techniques of a device.
        visitor_codes, moved_codes: index and code of operators and devices away from home.
    """

    operators: tuple[Operator, ...]
    devices: tuple[Device, ...]
    operator_site: np.ndarray
    device_site: np.ndarray
    exams_a_month: np.ndarray
    start_month: np.ndarray
    skill: np.ndarray
    device_share: np.ndarray
    device_techniques: tuple[tuple[str, ...], ...]
    visitor_codes: tuple[tuple[int, str], ...] = ()
    moved_codes: tuple[tuple[int, str], ...] = ()


def plan_registers(scenario: Scenario, rng: np.random.Generator) -> Registers:
    """Invent operators and devices. Volumes add up to the scenario's exams."""
    site_index = {site.id: k for k, site in enumerate(scenario.sites)}
    operator_site = np.array([site_index[site] for site in scenario.operator_sites])
    device_site = np.array([site_index[site] for site in scenario.device_sites])
    start_month = _start_months(scenario)
    volumes = _volumes(scenario, rng, start_month)
    device_techniques = tuple(techniques for site in scenario.sites for techniques in site.devices)
    shapes = {site.id: site.shape for site in scenario.sites}
    operators = {one: k for k, one in enumerate(scenario.operator_ids)}
    devices = {one: k for k, one in enumerate(scenario.device_ids)}
    visitor_codes = tuple(
        (operators[one.operator], operator_code(shapes[one.site], _FREE_PLACE, 0))
        for one in scenario.visits
    )
    moved_codes = tuple(
        (devices[one.device], device_code(shapes[one.to], _FREE_PLACE)) for one in scenario.moves
    )
    return Registers(
        operators=_with_visits(
            _operators(scenario, operator_site, start_month), scenario, dict(visitor_codes)
        ),
        devices=_with_moves(
            _devices(scenario, device_site, device_techniques), scenario, dict(moved_codes)
        ),
        operator_site=operator_site,
        device_site=device_site,
        exams_a_month=volumes,
        start_month=start_month,
        skill=np.clip(rng.normal(0.0, 0.2, len(operator_site)), -0.45, 0.45),
        device_share=_device_shares(device_site, device_techniques),
        device_techniques=device_techniques,
        visitor_codes=visitor_codes,
        moved_codes=moved_codes,
    )


def _with_visits(
    operators: tuple[Operator, ...], scenario: Scenario, codes: dict[int, str]
) -> tuple[Operator, ...]:
    """An operator who visits has two dated assignments: home at all times, the other from a day."""
    visits = {one.operator: one for one in scenario.visits}
    return tuple(
        one
        if one.id not in visits
        else replace(
            one,
            assignments=(
                Assignment(one.site),
                Assignment(visits[one.id].site, codes[k], parse_month(visits[one.id].start)),
            ),
        )
        for k, one in enumerate(operators)
    )


def _with_moves(
    devices: tuple[Device, ...], scenario: Scenario, codes: dict[int, str]
) -> tuple[Device, ...]:
    moves = {one.device: parse_month(one.start) for one in scenario.moves}
    places = {one.device: one.to for one in scenario.moves}
    return tuple(
        one
        if one.id not in moves
        else replace(
            one,
            assignments=(
                Assignment(one.site, to_day=moves[one.id] - timedelta(days=1)),
                Assignment(places[one.id], codes[k], moves[one.id]),
            ),
        )
        for k, one in enumerate(devices)
    )


def _start_months(scenario: Scenario) -> np.ndarray:
    result = np.zeros(len(scenario.operator_sites), dtype=np.int64)
    ids = {one: k for k, one in enumerate(scenario.operator_ids)}
    for event in scenario.events:
        if event.kind == "learning_curve" and event.operator is not None:
            first, start = scenario.first_month, event.start_month
            result[ids[event.operator]] = (start.year - first.year) * 12 + start.month - first.month
    return result


def _volumes(scenario: Scenario, rng: np.random.Generator, start_month: np.ndarray) -> np.ndarray:
    """Exams a month: fixed where the scenario fixes them, the rest shares what is left."""
    n = len(scenario.operator_sites)
    fixed = np.full(n, np.nan)
    ids = {one: k for k, one in enumerate(scenario.operator_ids)}
    for person in scenario.operators:
        fixed[ids[person.id]] = person.exams_a_month
    months_there = scenario.n_months - start_month
    raw = np.clip(rng.lognormal(0.0, 0.30, n), 0.5, 1.9)
    is_free = np.isnan(fixed)
    wanted = scenario.network.exams - float((fixed * months_there)[~is_free].sum())
    weight = float((raw * months_there)[is_free].sum())
    scale = max(wanted, 0.1 * scenario.network.exams) / weight if weight else 0.0
    return np.where(is_free, raw * scale, fixed)


def _device_shares(
    device_site: np.ndarray, device_techniques: tuple[tuple[str, ...], ...]
) -> np.ndarray:
    is_te = np.array(["TE" in techniques for techniques in device_techniques])
    result = np.zeros(len(device_site))
    for site in np.unique(device_site):
        here = device_site == site
        n_te, n_other = int((here & is_te).sum()), int((here & ~is_te).sum())
        other = 0.0 if n_other == 0 else (_ARFI_SHARE if n_te else 1.0)
        result[here & is_te] = (1.0 - other) / max(n_te, 1)
        result[here & ~is_te] = other / max(n_other, 1)
    return result


def _operators(
    scenario: Scenario, operator_site: np.ndarray, start_month: np.ndarray
) -> tuple[Operator, ...]:
    result = []
    for k, one in enumerate(scenario.operator_ids):
        site = scenario.sites[operator_site[k]]
        place = int((operator_site[:k] == operator_site[k]).sum())
        started = add_months(scenario.first_month, int(start_month[k])) if start_month[k] else None
        result.append(Operator(one, site.id, operator_code(site.shape, place, k), started))
    return tuple(result)


def operator_code(shape: str, place: int, k: int) -> str:
    """An operator's code in a site's files: another style for each shape, unique at the site."""
    if shape == "lantern":
        return f"{(417 + 61 * place) % 10000:04d}"
    if shape in ("tideway", "shingle"):
        return f"{chr(65 + (k * 7) % 26)}{chr(65 + (k * 11) % 26)}{place + 1}"
    if shape == "causeway":
        return f"P{place + 1}"
    if shape in ("orchard", "terrace"):
        return f"{chr(65 + place % 26)}{place + 1}"
    return f"H-{101 + place}"


def _devices(
    scenario: Scenario, device_site: np.ndarray, device_techniques: tuple[tuple[str, ...], ...]
) -> tuple[Device, ...]:
    result = []
    for k, one in enumerate(scenario.device_ids):
        site = scenario.sites[device_site[k]]
        place = int((device_site[:k] == device_site[k]).sum())
        result.append(Device(one, site.id, device_code(site.shape, place), device_techniques[k]))
    return tuple(result)


def device_code(shape: str, place: int) -> str:
    """A device's code in a site's files, unique at the site."""
    if shape in ("lantern", "pebble"):
        return f"{place + 1:02d}"
    return f"SN-{4100 + 7 * place}" if shape in ("estuary", "pier") else f"unit {chr(65 + place)}"
