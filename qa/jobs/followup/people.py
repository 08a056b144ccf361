"""Who the ids in events and in the trail belong to, as shown to people who may see the record."""

from qa.stores.followup.accounts import all_accounts
from qa.stores.followup.store import FollowupStore


def person_names(store: FollowupStore) -> dict[str, str]:
    """Id of an account → the person's name. An id that is none (a command's name) is not in it."""
    with store.reading() as reading:
        return {one.user_id: one.name for one in all_accounts(reading)}
