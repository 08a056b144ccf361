"""Scenario file → Scenario. Says what is wrong, where, and what would be right."""

import dataclasses
import zoneinfo
from collections.abc import Iterable
from pathlib import Path
from typing import NoReturn

from demo_sites.event_kinds import EVENT_KINDS
from demo_sites.names import MOST_PLACES, place_id, place_names
from demo_sites.scenario import Event, Scenario, SitePlan
from demo_sites.scenario_arrivals import check_arrivals
from demo_sites.shapes import INVENTED_SHAPES, SHAPES
from qa.model.definitions import Settings
from qa.model.errors import ScenarioError, UserError
from qa.model.months import parse_month
from qa.model.parsing import build, parse_toml
from qa.model.words import Technique

DEFAULT_SCENARIO = Path(__file__).with_name("scenario.toml")
BUNDLED = {"second": Path(__file__).with_name("second.toml")}
"""Scenarios beside the default that come with the program, by the name to give."""

_SECOND_DEVICES = ((Technique.TE,), (Technique.PSWE,), (Technique.TE,), (Technique.SWE_2D,))
_TECHNIQUES = tuple(technique.value for technique in Technique)


def read_scenario(path: Path | None = None) -> Scenario:
    """Read and check a scenario file; without a path the one that comes with the program.

    Args: path: a file, or the bare name of a scenario that comes along (BUNDLED).
    Raises: ScenarioError with the place in the file, what was found and what is expected.
    """
    path = BUNDLED.get(str(path), path) if path else DEFAULT_SCENARIO
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        _refuse(
            path.name,
            "no such file",
            expected="a scenario file (TOML)",
            todo="Give its path with --scenario, or 'second' for the smaller network that comes "
            "along, or leave the option out for the default",
            code="SCN-001",
        )
    except (UnicodeDecodeError, IsADirectoryError, PermissionError) as problem:
        _refuse(path.name, f"cannot be read as text ({type(problem).__name__})", code="SCN-001")
    return parse_scenario(text, where=path.name)


def parse_scenario(text: str, *, where: str) -> Scenario:
    """Text of a scenario → Scenario; see read_scenario for the errors."""
    raw = parse_toml(text, where=where, error=ScenarioError)
    scenario: Scenario = build(Scenario, raw, where=where, error=ScenarioError)
    _check_network(scenario, where=f"{where}, [network]")
    if not scenario.sites:
        scenario = dataclasses.replace(scenario, sites=_invent_sites(scenario, where=where))
    _check_sites(scenario, where=where)
    _check_rates(scenario, where=f"{where}, [rates]")
    _check_operators(scenario, where=where)
    build(Settings, scenario.settings, where=f"{where}, [settings]", error=ScenarioError)
    scenario = dataclasses.replace(
        scenario,
        events=tuple(
            event if event.id else dataclasses.replace(event, id=f"event-{k:02d}")
            for k, event in enumerate(scenario.events, start=1)
        ),
    )
    for number, event in enumerate(scenario.events, start=1):
        _check_event(event, scenario, where=f"{where}, [[events]] {number} ({event.kind})")
    _refuse_doubled((event.id for event in scenario.events), "event id", where=where)
    check_arrivals(scenario, where=where)
    return scenario


def _refuse(
    where: str, what: str, *, expected: str = "", todo: str = "", code: str = "SCN-002"
) -> NoReturn:
    raise ScenarioError(what, where=where, expected=expected, todo=todo, code=code)


def _refuse_doubled(ids: Iterable[str], kind: str, *, where: str) -> None:
    seen: set[str] = set()
    for one in ids:
        if one in seen:
            _refuse(where, f"the {kind} '{one}' stands twice", todo="Give each its own")
        seen.add(one)


def _check_month(text: str, key: str, *, where: str) -> None:
    try:
        parse_month(text)
    except UserError:
        _refuse(where, f"`{key}` is '{text}', no month", expected="YYYY-MM, for example 2026-10")


def _check_network(scenario: Scenario, *, where: str) -> None:
    network = scenario.network
    for key in ("first_month", "last_month"):
        _check_month(getattr(network, key), key, where=where)
    if scenario.n_months < 1:
        _refuse(
            where, "the last month is before the first", expected="last_month after first_month"
        )
    if network.time_zone not in zoneinfo.available_timezones():
        _refuse(
            where,
            f"the time zone '{network.time_zone}' is unknown",
            expected="a name of the IANA list, for example Europe/London",
        )
    if network.exams < 1:
        _refuse(where, f"{network.exams} exams", expected="1 or more")
    if "invented" not in network.name.lower():
        _refuse(
            where,
            "the name does not say that the network is invented",
            expected="a name with the word 'invented'",
            todo="Write for example 'Harrow Isles Liver Network (invented)'",
        )
    counts = (network.sites, network.operators, network.devices)
    if scenario.sites and any(count is not None for count in counts):
        _refuse(
            where,
            "numbers of sites, operators or devices beside a list of [[sites]]",
            expected="one of the two",
            todo="Remove the numbers, or the list",
        )


def _invent_sites(scenario: Scenario, *, where: str) -> tuple[SitePlan, ...]:
    where = f"{where}, [network]"
    network = scenario.network
    if network.sites is None or network.operators is None or network.devices is None:
        _refuse(
            where,
            "neither [[sites]] nor numbers to make them from",
            expected="`sites`, `operators` and `devices`, or a list of [[sites]]",
        )
    if not 1 <= network.sites <= MOST_PLACES:
        _refuse(where, f"sites = {network.sites}", expected=f"1 to {MOST_PLACES}")
    for key in ("operators", "devices"):
        if getattr(network, key) < network.sites:
            _refuse(
                where,
                f"{key} = {getattr(network, key)}",
                expected=f"one for each of {network.sites} sites",
            )
    sites = []
    for k, name in enumerate(place_names(network.sites)):
        n_devices = _part(network.devices, k, network.sites)
        techniques = [(Technique.TE,)] + [
            _SECOND_DEVICES[(k + j) % len(_SECOND_DEVICES)] for j in range(n_devices - 1)
        ]
        fitting = [
            shape.id
            for shape in INVENTED_SHAPES
            if {t for one in techniques for t in one} <= set(shape.techniques)
        ]
        sites.append(
            SitePlan(
                place_id(name),
                name,
                fitting[k % len(fitting)],
                _part(network.operators, k, network.sites),
                tuple(tuple(str(t) for t in one) for one in techniques),
            )
        )
    return tuple(sites)


def _part(total: int, k: int, n: int) -> int:
    """The k-th of n nearly equal whole parts of total."""
    return total // n + (k < total % n)


def _check_sites(scenario: Scenario, *, where: str) -> None:
    known = {shape.id: shape for shape in SHAPES}
    for number, site in enumerate(scenario.sites, start=1):
        here = f"{where}, [[sites]] {number} ({site.id})"
        if site.shape not in known:
            _refuse(
                here, f"the shape '{site.shape}' is unknown", expected=f"one of {', '.join(known)}"
            )
        if site.operators < 1 or not site.devices:
            _refuse(here, "no operator or no device", expected="at least one of each")
        for technique in {t for device in site.devices for t in device}:
            if technique not in _TECHNIQUES:
                _refuse(
                    here,
                    f"the technique '{technique}' is unknown",
                    expected=f"one of {', '.join(_TECHNIQUES)}",
                )
            if technique not in known[site.shape].techniques:
                _refuse(
                    here,
                    f"the shape '{site.shape}' cannot hold {technique}",
                    todo="Give the site another shape or another device",
                )
        if any(not device for device in site.devices):
            _refuse(here, "a device without a technique", expected='for example devices = [["TE"]]')
        if not 0 <= site.paediatric_share <= 1:
            _refuse(here, f"paediatric_share = {site.paediatric_share}", expected="0 to 1")
    _refuse_doubled((site.id for site in scenario.sites), "site id", where=where)


def _check_rates(scenario: Scenario, *, where: str) -> None:
    for name, value in dataclasses.asdict(scenario.rates).items():
        if not 0 <= value <= 1:
            _refuse(where, f"{name} = {value}", expected="a share from 0 to 1")


def _check_operators(scenario: Scenario, *, where: str) -> None:
    for number, person in enumerate(scenario.operators, start=1):
        here = f"{where}, [[operators]] {number}"
        _check_known(person.id, scenario.operator_ids, "operator", where=here)
        if person.exams_a_month <= 0:
            _refuse(here, f"exams_a_month = {person.exams_a_month}", expected="more than 0")
    _refuse_doubled((person.id for person in scenario.operators), "operator", where=where)


def _check_known(one: str, known: list[str], kind: str, *, where: str) -> None:
    if one not in known:
        _refuse(
            where,
            f"there is no {kind} '{one}'",
            expected=f"one of {known[0]} to {known[-1]}"
            if len(known) > 12
            else f"one of {', '.join(known)}",
        )


def _check_event(event: Event, scenario: Scenario, *, where: str) -> None:
    kind = EVENT_KINDS.get(event.kind)
    if kind is None:
        _refuse(
            where,
            f"the kind '{event.kind}' is unknown",
            expected=f"one of {', '.join(EVENT_KINDS)}",
        )
    given = [name for name in ("site", "operator", "device") if getattr(event, name) is not None]
    if len(given) != 1 or given[0] not in kind.targets:
        _refuse(
            where,
            f"names {' and '.join(given) or 'no target'}",
            expected=f"exactly one of: {', '.join(kind.targets)}",
        )
    known = {
        "site": [site.id for site in scenario.sites],
        "operator": scenario.operator_ids,
        "device": scenario.device_ids,
    }
    _check_known(event.target, known[given[0]], given[0], where=where)
    _check_months(event, scenario, where=where)
    _check_sizes(event, where=where)


def _check_months(event: Event, scenario: Scenario, *, where: str) -> None:
    _check_month(event.start, "start", where=where)
    if event.end is not None:
        _check_month(event.end, "end", where=where)
    if not scenario.first_month <= event.start_month <= scenario.last_month:
        _refuse(
            where,
            f"starts in {event.start}, outside the months of the network",
            expected=f"{scenario.network.first_month} to {scenario.network.last_month}",
        )
    if event.end_before(scenario.last_month) <= event.start_month:
        _refuse(where, f"ends in {event.end}, before it starts", expected=f"{event.start} or later")


def _check_sizes(event: Event, *, where: str) -> None:
    kind = EVENT_KINDS[event.kind]
    if kind.size_means is None:
        if event.size is not None:
            _refuse(where, "has a size", expected="none; this kind has no size", todo="Remove it")
    elif event.size is None:
        _refuse(where, "has no size", expected=f"size: {kind.size_means}")
    elif not kind.smallest <= event.size <= kind.largest:
        _refuse(
            where,
            f"size = {event.size}",
            expected=f"{kind.smallest} to {kind.largest} ({kind.size_means})",
        )
    if event.ramp_months < 0 or event.exams < 1:
        _refuse(where, "ramp_months or exams is too small", expected="ramp_months ≥ 0, exams ≥ 1")
    if event.shows_as not in ("spread", "count"):
        _refuse(where, f"shows_as = '{event.shows_as}'", expected="spread or count")
