"""How operators and devices are spoken of: by their codes, and never one for another."""

import pytest

from qa.model.definitions import Device, Network, Operator, Site
from qa.views.names import spoken_name, unit_name


def network(*operators: str) -> Network:
    return Network(
        id="n",
        name="N (invented)",
        is_invented=True,
        sites=(Site("north", "North", "UTC", "plain"),),
        operators=tuple(Operator(one, "north", one) for one in operators),
        devices=(Device("dev-01", "north", "D", ("TE",)),),
        criteria=(),
        grade_tables=(),
    )


@pytest.mark.parametrize(
    ("known", "operator", "name"),
    [
        (("op-37",), "op-37", "Operator 37"),
        (("37",), "37", "Operator 37"),
        (("north-b",), "north-b", "Operator north-b"),
        (("op-37", "37"), "op-37", "Operator op-37"),
        (("op-",), "op-", "Operator op-"),
        ((), "op-37", "Operator 37"),
    ],
    ids=["op", "plain", "own code", "both are known", "nothing left", "unknown"],
)
def test_spoken_name_of_an_operator(known: tuple[str, ...], operator: str, name: str) -> None:
    assert spoken_name(network(*known), "operator", operator) == name


def test_unit_name_adds_the_site() -> None:
    assert unit_name(network("op-37"), "operator", "op-37") == "Operator 37 (North)"
    assert unit_name(network(), "device", "dev-01") == "Device 01 (North)"
