"""Who gets what: addresses of a site's leads, and of people whom the record names."""

from qa.model.accounts import Account, AccountState
from qa.model.definitions import Network
from qa.model.permissions import Role
from qa.stores.followup.accounts import all_accounts
from qa.stores.followup.store import FollowupStore


def addresses_of_sites(network: Network, store: FollowupStore) -> dict[str, list[str]]:
    """Site → addresses, lower case, each once: its leads' accounts, then [delivery.to]."""
    people = _active(store)
    return {
        site.id: list(
            dict.fromkeys(
                [
                    *(
                        one.email.lower()
                        for one in people
                        if Role.SITE_LEAD in one.roles and site.id in one.sites
                    ),
                    *(one.lower() for one in network.delivery.to.get(site.id, ())),
                ]
            )
        )
        for site in network.sites
    }


def address_of_person(store: FollowupStore, name: str) -> str:
    """Address of whom a record names by account, e-mail or full name; "" where nobody fits.

    A name that two people share is nobody's.
    """
    if "@" in name:
        return name.strip().lower()
    people = _active(store)
    by_id = [one.email for one in people if one.user_id == name]
    by_name = [one.email for one in people if one.name.casefold() == name.strip().casefold()]
    found = by_id or by_name
    return found[0].lower() if len(found) == 1 else ""


def _active(store: FollowupStore) -> list[Account]:
    with store.reading() as reading:
        return [one for one in all_accounts(reading) if one.state is AccountState.ACTIVE]
