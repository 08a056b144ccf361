"""A site's files and the profiles that read them."""

from datetime import date

import pytest

from qa.model.definitions import Site
from qa.model.errors import NetworkFolderError
from qa.model.parsing import parse_network

SITE = Site("east", "East", "Europe/Berlin", "table", profiles_by_ending={"dcm": "report"})
TEXT = """
id = "n"
name = "Invented"
is_invented = true
criteria = [{ id = "common-practice.v1", from = 2024-01-01 }]

[[sites]]
id = "east"
name = "East"
time_zone = "Europe/Berlin"
profile = "table"
profiles_by_ending = { dcm = "report" }
"""


@pytest.mark.parametrize(
    ("name", "profile"),
    [
        ("march.csv", "table"),
        ("1.2.3.dcm", "report"),
        ("1.2.3.DCM", "report"),
        ("dcm", "report"),
        ("march.dcm.csv", "table"),
    ],
)
def test_profile_of_goes_by_the_ending(name: str, profile: str) -> None:
    assert SITE.profile_of(name) == profile


def test_parse_network_reads_profiles_by_ending() -> None:
    assert parse_network(TEXT, where="network.toml").sites == (SITE,)


def test_parse_network_refuses_endings_that_name_no_profile() -> None:
    with pytest.raises(NetworkFolderError):
        parse_network(TEXT.replace('"report"', "3"), where="network.toml")


CLOSED = '[[sites.closed]]\nfrom = 2026-12-24\nto = {}\nreason = "holidays"\n'


def test_parse_network_reads_when_a_site_is_closed():
    network = parse_network(TEXT + CLOSED.format("2027-01-01"), where="network.toml")
    site = network.sites[-1]
    days = (date(2026, 12, 23), date(2026, 12, 24), date(2027, 1, 1), date(2027, 1, 2))
    assert [site.is_closed_on(day) for day in days] == [False, True, True, False]


@pytest.mark.parametrize("to", ["2026-12-23", '"soon"'])
def test_parse_network_refuses_a_closure_that_cannot_be(to: str):
    with pytest.raises(NetworkFolderError):
        parse_network(TEXT + CLOSED.format(to), where="network.toml")
