"""Names of sites, operators and devices as people read them."""

from qa.model.definitions import Network, Operator
from qa.model.words import UnitKind

NETWORK_ID = "network"


def operator_name(operator: Operator) -> str:
    """An operator is a code on every screen: 'Operator 31'."""
    return f"Operator {operator.id}"


def unit_names(network: Network) -> dict[tuple[str, str], str]:
    """(unit kind, unit id) → name, for all units of the network.

    Operators and devices carry their home site: 'Operator 31 (Eider Point)'.
    """
    sites = {site.id: site.name for site in network.sites}
    names = {(UnitKind.NETWORK.value, NETWORK_ID): network.name}
    names |= {(UnitKind.SITE.value, site_id): name for site_id, name in sites.items()}
    for person in network.operators:
        place = sites.get(person.site, person.site)
        names[UnitKind.OPERATOR.value, person.id] = f"{operator_name(person)} ({place})"
    for device in network.devices:
        place = sites.get(device.site, device.site)
        names[UnitKind.DEVICE.value, device.id] = f"Device {device.id} ({place})"
    return names


def unit_name(network: Network, unit_kind: str, unit_id: str) -> str:
    """The unit's name; its id where network.toml does not know it."""
    return unit_names(network).get((unit_kind, unit_id), unit_id)


def site_name(network: Network, site_id: str) -> str:
    site = network.site(site_id)
    return site.name if site else site_id


def short_operator_name(network: Network, operator_id: str) -> str:
    """Example: 'Operator 31', without the site, where the site is named above."""
    person = network.operator(operator_id)
    return operator_name(person) if person else f"Operator {operator_id}"
