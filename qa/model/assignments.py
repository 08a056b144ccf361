"""Dated assignments of network.toml: whose code a site's export holds on which day."""

from collections.abc import Iterator
from itertools import combinations

from qa.model.definitions import Assignment, Device, Network, Operator
from qa.model.errors import NetworkFolderError

_DAYS = "Days of `from` and `to` both belong to an assignment: end one before the next begins"


def check_assignments(network: Network, *, where: str) -> None:
    """Every code of a site means at most one operator, or device, on any day.

    Days that no assignment covers are allowed (people leave and return); an exam of such a day
    waits in quarantine.

    Raises: NetworkFolderError when an assignment ends before it starts, when two of one code
        overlap, or when a device stands at two sites on one day.
    """
    for kind, owned in (("operator", network.operators), ("device", network.devices)):
        _check_ends(kind, owned, where=where)
        _check_codes(kind, owned, where=where)
    for device in network.devices:
        _check_one_place(device, where=where)


def _check_ends(kind: str, owned: tuple[Operator, ...] | tuple[Device, ...], *, where: str) -> None:
    for item in owned:
        for one in item.assignments:
            if one.from_day and one.to_day and one.to_day < one.from_day:
                raise NetworkFolderError(
                    f"the assignment of {kind} '{item.id}' to '{one.site}' ends on {one.to_day}, "
                    f"before it starts on {one.from_day}",
                    where=where,
                    todo="Mend `from` or `to`",
                    code="NET-007",
                )


def _check_codes(
    kind: str, owned: tuple[Operator, ...] | tuple[Device, ...], *, where: str
) -> None:
    by_code: dict[tuple[str, str], list[tuple[str, Assignment]]] = {}
    for item in owned:
        for one in item.periods:
            by_code.setdefault((one.site, one.code), []).append((item.id, one))
    for (site, code), holders in by_code.items():
        for (first_id, first), (second_id, second) in _overlapping(holders):
            if not (first.is_dated or second.is_dated):
                raise NetworkFolderError(
                    f"the {kind} code '{code}' stands twice at site '{site}'",
                    where=where,
                    todo="Give each its own code, or say by dated assignments who had it when",
                    code="NET-002",
                )
            raise NetworkFolderError(
                f"the {kind} code '{code}' at site '{site}' means '{first_id}' ({first.period}) "
                f"and '{second_id}' ({second.period}) on the same days",
                where=where,
                expected="one meaning on each day",
                todo=_DAYS,
                code="NET-008",
            )


def _check_one_place(device: Device, *, where: str) -> None:
    for (_, first), (_, second) in _overlapping([(device.id, one) for one in device.periods]):
        if first.site != second.site:
            raise NetworkFolderError(
                f"device '{device.id}' stands at '{first.site}' ({first.period}) and at "
                f"'{second.site}' ({second.period}) on the same days",
                where=where,
                expected="one place on each day",
                todo=_DAYS,
                code="NET-009",
            )


def _overlapping(
    holders: list[tuple[str, Assignment]],
) -> Iterator[tuple[tuple[str, Assignment], tuple[str, Assignment]]]:
    return (pair for pair in combinations(holders, 2) if pair[0][1].overlaps(pair[1][1]))
