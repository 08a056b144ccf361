"""Dated assignments of network.toml: overlaps are refused, gaps are not."""

import pytest

from qa.model.errors import NetworkFolderError
from qa.model.parsing import parse_network

HEAD = """
id = "n"
name = "N"
is_invented = true
[[criteria]]
id = "common-practice.v1"
from = 2024-01-01
[[sites]]
id = "north"
name = "North"
time_zone = "UTC"
profile = "p"
[[sites]]
id = "south"
name = "South"
time_zone = "UTC"
profile = "p"
"""


def owner(kind: str, name: str, *periods: str, site: str = "north", code: str = "A") -> str:
    blocks = [
        f"[[{kind}.assignments]]\n" + "\n".join(part.strip() for part in period.split(","))
        for period in periods
    ]
    techniques = 'techniques = ["TE"]\n' if kind == "devices" else ""
    head = f'[[{kind}]]\nid = "{name}"\nsite = "{site}"\ncode = "{code}"\n{techniques}'
    return head + "\n".join(blocks) + "\n"


NORTH_UNTIL_JUNE = 'site = "north", to = 2025-06-30'
NORTH_FROM_JULY = 'site = "north", from = 2025-07-01'
NORTH_FROM_JUNE_30 = 'site = "north", from = 2025-06-30'
SOUTH_FROM_JULY = 'site = "south", code = "7", from = 2025-07-01'


def refused(text: str) -> NetworkFolderError:
    with pytest.raises(NetworkFolderError) as caught:
        parse_network(HEAD + text, where="network.toml")
    return caught.value


def test_a_code_may_pass_from_one_operator_to_another() -> None:
    network = parse_network(
        HEAD
        + owner("operators", "op-1", NORTH_UNTIL_JUNE)
        + owner("operators", "op-2", NORTH_FROM_JULY),
        where="network.toml",
    )
    [first, second] = network.operators
    assert [period.period for period in first.periods] == ["up to 2025-06-30"]
    assert [(one.site, one.code) for one in second.periods] == [("north", "A")]


def test_one_shared_day_is_refused_with_both_owners_and_their_days() -> None:
    problem = refused(
        owner("operators", "op-1", NORTH_UNTIL_JUNE)
        + owner("operators", "op-2", NORTH_FROM_JUNE_30)
    )
    assert problem.code == "NET-008"
    for word in ("'A'", "'op-1' (up to 2025-06-30)", "'op-2' (from 2025-06-30)"):
        assert word in problem.message


def test_an_operator_leaves_and_returns_and_works_at_two_sites() -> None:
    network = parse_network(
        HEAD
        + owner(
            "operators",
            "op-1",
            NORTH_UNTIL_JUNE,
            'site = "north", from = 2026-01-01',
            SOUTH_FROM_JULY,
        ),
        where="network.toml",
    )
    [person] = network.operators
    assert person.sites == ("north", "south")
    assert [one.code for one in person.periods] == ["A", "A", "7"]


def test_a_dated_code_beside_an_undated_one_overlaps() -> None:
    assert (
        refused(owner("operators", "op-1") + owner("operators", "op-2", NORTH_FROM_JULY)).code
        == "NET-008"
    )
    assert refused(owner("operators", "op-1") + owner("operators", "op-2")).code == "NET-002"


def test_an_assignment_that_ends_before_it_starts_is_refused() -> None:
    problem = refused(
        owner("operators", "op-1", 'site = "north", from = 2025-02-01, to = 2025-01-31')
    )
    assert problem.code == "NET-007"
    assert "ends on 2025-01-31, before it starts on 2025-02-01" in problem.message


def test_a_device_moves_but_stands_at_one_site_on_any_day() -> None:
    moved = HEAD + owner("devices", "dev-1", NORTH_UNTIL_JUNE, SOUTH_FROM_JULY)
    [device] = parse_network(moved, where="network.toml").devices
    assert device.sites == ("north", "south")
    problem = refused(
        owner("devices", "dev-1", 'site = "north"', 'site = "south", from = 2025-07-01')
    )
    assert problem.code == "NET-009"


def test_an_unknown_site_or_key_is_named() -> None:
    assert "'west'" in refused(owner("operators", "op-1", 'site = "west"')).message
    assert (
        "'until'"
        in refused(owner("operators", "op-1", 'site = "north", until = 2025-01-01')).message
    )
