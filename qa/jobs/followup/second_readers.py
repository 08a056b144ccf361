"""Who may read exams a second time: an account that may, or an operator of the network's list."""

from dataclasses import dataclass

from qa.model.accounts import Account, AccountState
from qa.model.definitions import Network, Operator
from qa.model.errors import FollowupError
from qa.model.permissions import Permission
from qa.model.words import UnitKind
from qa.stores.followup.accounts import all_accounts
from qa.stores.followup.store import Reading
from qa.views.names import spoken_name


@dataclass(frozen=True)
class SecondReader:
    """Somebody who may read again.

    Args:
        reader: id of the account, or of an operator who has none.
        operator_id: who this is among the operators; "" for none.
    """

    reader: str
    operator_id: str
    name: str


def possible_readers(reading: Reading, network: Network, *, first: str) -> list[SecondReader]:
    """By name: accounts first, then operators without one; never the first operator.

    Args: first: operator id of whoever did the exams.
    """
    accounts = _accounts(reading)
    taken = {one.operator_id for one in accounts} | {first}
    found = [_of_account(one, network) for one in accounts if one.operator_id != first]
    found += [_of_operator(one, network) for one in network.operators if one.id not in taken]
    return found


def find_reader(
    reading: Reading, network: Network, text: str, *, operator_id: str = ""
) -> SecondReader:
    """The reader that somebody names.

    Args:
        text: id or e-mail of an account; or id of an operator, or the code that only one has.
        operator_id: who this is among the operators, for an account that does not say it.
    Raises: FollowupError FUP-091 when it is neither.
    """
    wanted = text.strip()
    accounts = _accounts(reading)
    person = _operator_named(network, wanted)
    for one in accounts:
        is_named = wanted == one.user_id or wanted.casefold() == one.email
        if is_named or (person and one.operator_id == person.id):
            return SecondReader(one.user_id, one.operator_id or operator_id, one.name)
    if person is None:
        raise FollowupError(
            f"'{wanted[:60]}' is nobody who may read exams",
            where="second reader",
            expected="the e-mail or id of an account with the role operator, site lead or QA "
            "manager, or an operator of network.toml",
            todo="Nothing was changed",
            code="FUP-091",
        )
    return _of_operator(person, network)


def _accounts(reading: Reading) -> list[Account]:
    return [
        one
        for one in all_accounts(reading)
        if one.state is AccountState.ACTIVE and one.actor.reaches(Permission.SECOND_READ)
    ]


def _operator_named(network: Network, text: str) -> Operator | None:
    """By id; else by a code that one operator alone has, at whatever site."""
    if known := network.operator(text):
        return known
    holders = [one for one in network.operators if text in {held.code for held in one.periods}]
    return holders[0] if len(holders) == 1 else None


def _of_account(one: Account, network: Network) -> SecondReader:
    who = f", {_spoken(network, one.operator_id)}" if one.operator_id else ""
    return SecondReader(one.user_id, one.operator_id, f"{one.name}{who}")


def _of_operator(one: Operator, network: Network) -> SecondReader:
    return SecondReader(one.id, one.id, _spoken(network, one.id))


def _spoken(network: Network, operator_id: str) -> str:
    return spoken_name(network, UnitKind.OPERATOR, operator_id)
