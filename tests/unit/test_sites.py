"""A site's files and the profiles that read them."""

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
