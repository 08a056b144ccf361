"""Scenario files: what is wrong is said with place, finding and what is expected."""

from pathlib import Path

import pytest

from demo_sites.make import make_demo
from demo_sites.scenario_reader import parse_scenario, read_scenario
from demo_sites.truth import read_truth
from qa.model.errors import ScenarioError
from qa.stores.settings import load_network
from tests.planted.scenarios import SMALL, every_shape

WRONG = [
    # replaced text, new text, what the message must say
    ("seed = 7", "seed = ", "not valid TOML"),
    ("seed = 7", 'seed = "x"', "seed"),
    ("seed = 7", "", "seed"),
    ("exams = 900", "exam = 900", "Did you mean 'exams'"),
    ("exams = 900", "exams = 0", "1 or more"),
    ('name = "Small invented network"', 'name = "Small"', "invented"),
    ("Europe/London", "Harrow/Isles", "IANA"),
    ('"2025-01"', '"January"', "`first_month` is 'January', no month"),
    ('"2025-06"', '"2024-06"', "the last month is before the first"),
    ("sites = 3", "", "neither [[sites]] nor numbers"),
    ("sites = 3", "sites = 0", "sites = 0"),
    ("operators = 7", "operators = 2", "one for each of 3 sites"),
    ("technique_drift", "drift", "the kind 'drift' is unknown"),
    ("op-02", "op-99", "there is no operator 'op-99'"),
    ('operator = "op-02"', "", "names no target"),
    ('operator = "op-02"', 'site = "alder-sound"', "exactly one of: operator"),
    ("size = 0.2", "", "has no size"),
    ("size = 0.2", "size = 20", "size = 20"),
    ("size = 0.2", 'size = 0.2\nend = "2025-02"', "before it starts"),
    ("size = 0.2", 'size = 0.2\nshows_as = "colour"', "spread or count"),
    ('"2025-03"', '"2026-03"', "outside the months"),
    ("[network]", "[rates]\nfailed = 3.0\n[network]", "a share from 0 to 1"),
    ("[network]", "[settings]\ncolour = 3\n[network]", "'colour' is unknown"),
]


@pytest.mark.parametrize(("old", "new", "said"), WRONG)
def test_parse_scenario_says_what_is_wrong(old: str, new: str, said: str) -> None:
    assert old in SMALL
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(SMALL.replace(old, new), where="small.toml")
    assert said in caught.value.message
    assert caught.value.message.startswith("[")
    assert "small.toml" in caught.value.message


SITE = """
[[sites]]
id = "a"
name = "A"
shape = "harbour"
operators = 7
devices = [["TE"]]
"""
LISTED = SMALL.replace("sites = 3\noperators = 7\ndevices = 4\n", "") + SITE

WRONG_SITES = [
    ('"harbour"', '"square"', "the shape 'square' is unknown"),
    ('"TE"', '"MRI"', "the technique 'MRI' is unknown"),
    (
        'shape = "harbour"\noperators = 7\ndevices = [["TE"]]',
        'shape = "causeway"\noperators = 7\ndevices = [["pSWE"]]',
        "cannot hold pSWE",
    ),
    ("operators = 7", "operators = 0", "no operator or no device"),
    ("exams = 900", "exams = 900\nsites = 3", "beside a list of [[sites]]"),
    ("[[sites]]", SITE + "[[sites]]", "the site id 'a' stands twice"),
    (
        "[[sites]]",
        '[[operators]]\nid = "op-70"\nexams_a_month = 3\n[[sites]]',
        "no operator 'op-70'",
    ),
]

WRONG_COMINGS = [
    ('operator = "op-01"', 'operator = "op-99"', "there is no operator 'op-99'"),
    ('site = "orchard-site"', 'site = "harbour-site"', "the operator is at home there"),
    ("share = 0.3", "share = 0", "more than 0, at most 1"),
    ('device = "dev-08"', 'device = "dev-02"', "the device cannot be moved there"),
    ('kind = "sent_twice"', 'kind = "sent_thrice"', "the kind 'sent_thrice' is unknown"),
    ('site = "terrace-site"', 'site = "pier-site"', "does not send what it touches"),
    ('\nmonth = "2025-04"', '\nmonth = "2025-06"', "has no month after it"),
    ('\nmonth = "2025-04"', '\nmonth = "2026-04"', "outside the months of the network"),
    ("exams = 3\n", "exams = 0\n", "1 or more"),
    ('report_shape = "beacon"', 'report_shape = "harbour"', "no shape of reports 'harbour'"),
]


@pytest.mark.parametrize(("old", "new", "said"), WRONG_COMINGS)
def test_parse_scenario_with_wrong_arrivals_says_what_is_wrong(
    old: str, new: str, said: str
) -> None:
    text = every_shape()
    parse_scenario(text, where="shapes.toml")
    assert old in text
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(text.replace(old, new), where="shapes.toml")
    assert said in caught.value.message


@pytest.mark.parametrize(("old", "new", "said"), WRONG_SITES)
def test_parse_scenario_with_listed_sites_says_what_is_wrong(old: str, new: str, said: str) -> None:
    parse_scenario(LISTED, where="listed.toml")
    assert old in LISTED
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(LISTED.replace(old, new), where="listed.toml")
    assert said in caught.value.message


def test_read_scenario_without_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match="no such file"):
        read_scenario(tmp_path / "missing.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ScenarioError, match="cannot be read as text"):
        read_scenario(tmp_path / "binary.toml")


def test_make_demo_follows_the_numbers_of_a_scenario(tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    make_demo(tmp_path / "out", scenario=path)
    truth, network = read_truth(tmp_path / "out"), load_network(tmp_path / "out")
    assert (len(network.sites), len(network.operators), len(network.devices)) == (3, 7, 4)
    assert truth.exams["month"].n_unique() == 6
    assert 800 <= truth.exams.height <= 1000
    assert [event.id for event in truth.events] == ["event-01"]
    assert truth.events[0].realised["share_after"] > 0.1


def test_make_demo_with_one_site_and_one_month_works(tmp_path: Path) -> None:
    text = SMALL.split("[[events]]")[0].replace("2025-06", "2025-01")
    for old, new in (("sites = 3", "sites = 1"), ("operators = 7", "operators = 1")):
        text = text.replace(old, new)
    path = tmp_path / "one.toml"
    path.write_text(text.replace("devices = 4", "devices = 1"), encoding="utf-8")
    make_demo(tmp_path / "out", scenario=path)
    assert read_truth(tmp_path / "out").exams.height > 500
