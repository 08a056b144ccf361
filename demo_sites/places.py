"""Who and what moves: operators who help at a second site, devices that are taken elsewhere, and
devices whose exams come as files of another shape.

Exams keep how they turned out; only the operator, the device or the shape of the file is another.
"""

import numpy as np
import polars as pl

from demo_sites.patients import Columns
from demo_sites.plan import Registers
from demo_sites.planted import day_number
from demo_sites.scenario import Scenario
from demo_sites.shapes import SHAPE_INDEX
from qa.model.months import parse_month


def place_exams(
    rng: np.random.Generator, exams: Columns, *, scenario: Scenario, registers: Registers
) -> Columns:
    """Operators, devices and shapes of all exams.

    Returns: operator, device (indices of the registers) and shape (place in SHAPES).
    """
    site, day = exams["site"], exams["day"]
    operator, device = exams["operator"].copy(), exams["device"].copy()
    sites = {one.id: k for k, one in enumerate(scenario.sites)}
    operators = {one.id: k for k, one in enumerate(registers.operators)}
    devices = {one.id: k for k, one in enumerate(registers.devices)}
    for visit in scenario.visits:
        is_there = (site == sites[visit.site]) & (day >= _first_day(visit.start))
        is_planted = np.isin(operator, [operators[one] for one in scenario.planted_operators])
        chosen = is_there & ~is_planted & (rng.random(len(day)) < visit.share)
        operator[chosen] = operators[visit.operator]
    for move in scenario.moves:
        k, later = devices[move.device], day >= _first_day(move.start)
        left = later & (device == k)
        device[left] = _another_device(k, registers)
        arrives = later & (site == sites[move.to]) & exams["is_te"] & (rng.random(len(day)) < 0.5)
        device[arrives] = k
    return {"operator": operator, "device": device, "shape": _shapes(exams, scenario)}


def _first_day(month: str) -> int:
    return day_number(parse_month(month))


def _another_device(moved: int, registers: Registers) -> int:
    """The device of the same kind that stays at the site."""
    home, techniques = registers.device_site[moved], registers.device_techniques[moved]
    return next(
        k
        for k, site in enumerate(registers.device_site)
        if k != moved and site == home and registers.device_techniques[k] == techniques
    )


def _shapes(exams: Columns, scenario: Scenario) -> np.ndarray:
    shape = np.array([SHAPE_INDEX[one.shape] for one in scenario.sites])[exams["site"]]
    for k, site in enumerate(scenario.sites):
        if site.report_shape is not None and site.report_from is not None:
            other = (exams["site"] == k) & ~exams["is_te"]
            other &= exams["day"] >= _first_day(site.report_from)
            shape[other] = SHAPE_INDEX[site.report_shape]
    return shape


def codes_in_files(
    own: list[str],
    home: np.ndarray,
    away: tuple[tuple[int, str], ...],
    *,
    unit: np.ndarray,
    site: np.ndarray,
) -> pl.Series:
    """The code that stands in each exam's file: the unit's own, or the one it has away from home.

    Args: own, home: code and home site of each unit.   away: unit and its code elsewhere.
    """
    codes = np.array(own, dtype=object)[unit]
    for k, code in away:
        codes[(unit == k) & (site != home[k])] = code
    return pl.Series(codes.tolist(), dtype=pl.String)
