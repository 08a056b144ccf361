"""Names of sites, operators and devices as people read them."""

from qa.model.definitions import Network
from qa.model.words import UnitKind

NETWORK_ID = "network"
_SPOKEN = {UnitKind.OPERATOR: ("Operator", "op-"), UnitKind.DEVICE: ("Device", "dev-")}


def spoken_name(network: Network, unit_kind: str, unit_id: str) -> str:
    """An operator or device as it is spoken of, by its code in network.toml.

    Example: 'op-37' → 'Operator 37'; '37' → 'Operator 37'; 'north-b' → 'Operator north-b'. Where
             the network also knows the plain '37', 'op-37' stays 'Operator op-37'.
    """
    units = network.operators if unit_kind == UnitKind.OPERATOR else network.devices
    return _spoken(UnitKind(unit_kind), unit_id, {one.id for one in units})


def _spoken(unit_kind: UnitKind, unit_id: str, known: set[str]) -> str:
    kind, start = _SPOKEN[unit_kind]
    plain = unit_id.removeprefix(start)
    return f"{kind} {plain if plain and plain not in known else unit_id}"


def unit_names(network: Network) -> dict[tuple[str, str], str]:
    """(unit kind, unit id) → name, for all units of the network.

    Operators and devices carry their home site: 'Operator 31 (Eider Point)'.
    """
    sites = {site.id: site.name for site in network.sites}
    names = {(UnitKind.NETWORK.value, NETWORK_ID): network.name}
    names |= {(UnitKind.SITE.value, site_id): name for site_id, name in sites.items()}
    for kind, units in (
        (UnitKind.OPERATOR, network.operators),
        (UnitKind.DEVICE, network.devices),
    ):
        known = {one.id for one in units}
        for one in units:
            place = sites.get(one.site, one.site)
            names[kind.value, one.id] = f"{_spoken(kind, one.id, known)} ({place})"
    return names


def unit_name(network: Network, unit_kind: str, unit_id: str) -> str:
    """The unit's name; its id where network.toml does not know it."""
    return unit_names(network).get((unit_kind, unit_id), unit_id)


def site_name(network: Network, site_id: str) -> str:
    site = network.site(site_id)
    return site.name if site else site_id


def short_operator_name(network: Network, operator_id: str) -> str:
    """Example: 'Operator 31', without the site, where the site is named above."""
    return spoken_name(network, UnitKind.OPERATOR, operator_id)
