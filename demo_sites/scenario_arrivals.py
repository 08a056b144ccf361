"""Checks of what a scenario says about visits, moves, reports of another shape, and mishaps."""

from typing import NoReturn

from demo_sites.mishap_kinds import MISHAP_KINDS
from demo_sites.scenario import Mishap, Move, Scenario, SitePlan, Visit
from demo_sites.shapes import SHAPES, shape_by_id
from qa.model.errors import ScenarioError, UserError
from qa.model.months import parse_month


def check_arrivals(scenario: Scenario, *, where: str) -> None:
    """Raises: ScenarioError with the place in the file, what was found and what is expected."""
    for number, site in enumerate(scenario.sites, start=1):
        _check_reports(site, scenario, where=f"{where}, [[sites]] {number} ({site.id})")
    for number, visit in enumerate(scenario.visits, start=1):
        _check_visit(visit, scenario, where=f"{where}, [[visits]] {number}")
    for number, move in enumerate(scenario.moves, start=1):
        _check_move(move, scenario, where=f"{where}, [[moves]] {number}")
    for kind, ids in (
        ("visiting operator", [one.operator for one in scenario.visits]),
        ("moved device", [one.device for one in scenario.moves]),
    ):
        if len(set(ids)) < len(ids):
            _refuse(where, f"a {kind} stands twice", expected="one visit or move each")
    for number, mishap in enumerate(scenario.mishaps, start=1):
        _check_mishap(mishap, scenario, where=f"{where}, [[mishaps]] {number} ({mishap.kind})")


def _refuse(where: str, what: str, *, expected: str = "") -> NoReturn:
    raise ScenarioError(what, where=where, expected=expected, code="SCN-002")


def _check_month(text: str, scenario: Scenario, *, where: str) -> None:
    try:
        month = parse_month(text)
    except UserError:
        _refuse(where, f"'{text}' is no month", expected="YYYY-MM, for example 2026-10")
    if not scenario.first_month <= month <= scenario.last_month:
        _refuse(
            where,
            f"{text} is outside the months of the network",
            expected=f"{scenario.network.first_month} to {scenario.network.last_month}",
        )


def _check_known(one: str, known: list[str], kind: str, *, where: str) -> None:
    if one not in known:
        _refuse(where, f"there is no {kind} '{one}'", expected=f"one of {', '.join(known[:12])}")


def _check_reports(site: SitePlan, scenario: Scenario, *, where: str) -> None:
    if site.report_shape is None and site.report_from is None:
        return
    known = [shape.id for shape in SHAPES if "TE" not in shape.techniques]
    _check_known(site.report_shape or "", known, "shape of reports", where=where)
    _check_month(site.report_from or "", scenario, where=where)


def _check_visit(visit: Visit, scenario: Scenario, *, where: str) -> None:
    _check_known(visit.operator, scenario.operator_ids, "operator", where=where)
    _check_known(visit.site, [site.id for site in scenario.sites], "site", where=where)
    _check_month(visit.start, scenario, where=where)
    home = dict(zip(scenario.operator_ids, scenario.operator_sites, strict=True))
    if home[visit.operator] == visit.site:
        _refuse(where, "the operator is at home there", expected="another site")
    if not 0 < visit.share <= 1:
        _refuse(where, f"share = {visit.share}", expected="more than 0, at most 1")


def _check_move(move: Move, scenario: Scenario, *, where: str) -> None:
    _check_known(move.device, scenario.device_ids, "device", where=where)
    _check_known(move.to, [site.id for site in scenario.sites], "site", where=where)
    _check_month(move.start, scenario, where=where)
    techniques = [one for site in scenario.sites for one in site.devices]
    facts = dict(
        zip(
            scenario.device_ids,
            zip(scenario.device_sites, techniques, strict=True),
            strict=True,
        )
    )
    home, own = facts[move.device]
    if home == move.to or own != ("TE",):
        _refuse(where, "the device cannot be moved there", expected="a TE device of another site")
    left = [one for one, fact in facts.items() if fact == (home, own) and one != move.device]
    if not left:
        _refuse(where, f"no other TE device is left at {home}", expected="two of them")


def _check_mishap(mishap: Mishap, scenario: Scenario, *, where: str) -> None:
    kind = MISHAP_KINDS.get(mishap.kind)
    if kind is None:
        _refuse(
            where,
            f"the kind '{mishap.kind}' is unknown",
            expected=f"one of {', '.join(MISHAP_KINDS)}",
        )
    _check_known(mishap.site, [site.id for site in scenario.sites], "site", where=where)
    _check_month(mishap.month, scenario, where=where)
    site = next(one for one in scenario.sites if one.id == mishap.site)
    if kind.needs and not set(kind.needs) & shape_by_id(site.shape).sends:
        _refuse(
            where,
            f"the shape '{site.shape}' does not send what it touches",
            expected=f"a shape that sends {' or '.join(kind.needs)}",
        )
    if mishap.kind in ("amended", "taken_back") and mishap.first_day >= scenario.last_month:
        _refuse(where, f"{mishap.month} has no month after it", expected="an earlier month")
    if any(one.kind == "late_site" and one.site == mishap.site for one in scenario.events):
        _refuse(where, "the site does not send all of its files", expected="another site")
    if mishap.exams < 1:
        _refuse(where, f"exams = {mishap.exams}", expected="1 or more")
