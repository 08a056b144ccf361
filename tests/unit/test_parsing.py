"""Reading definitions and network.toml: every wrong key is named with the nearest right one."""

import pytest

from qa.model.errors import DefinitionError, NetworkFolderError, ProfileError
from qa.model.parsing import parse_grade_table, parse_network, parse_profile

NETWORK = """
id = "n"
name = "N"
is_invented = true
[settings]
repeat_window_days = 30
[[sites]]
id = "a"
name = "A"
time_zone = "UTC"
profile = "p"
[[operators]]
id = "op-1"
site = "a"
code = "1"
[[criteria]]
id = "common-practice.v1"
from = 2024-01-01
"""

GRADES = """
id = "t.v1"
version = 1
title = "T"
quantity = "stiffness"
techniques = ["TE"]
unit = "kPa"
edges = [7.0, 9.0]
labels = ["low", "middle", "high"]
source = "none"
confidence = "proposal of this tool"
"""

PROFILE = """
id = "p"
version = 2
title = "P"
ignore = ["Name"]
[file]
delimiter = ";"
decimal = ","
[limits]
stiffness_kpa = [1.5, 75.0]
[columns.exam_id]
headings = "Exam"
[columns.probe]
headings = ["Probe"]
codes = { 1 = "standard" }
"""


def test_parse_network_reads_registers_settings_and_dates() -> None:
    network = parse_network(NETWORK, where="network.toml")
    assert network.settings.repeat_window_days == 30
    assert network.settings.baseline_months == 12
    assert network.criteria[0].from_day.isoformat() == "2024-01-01"
    assert network.site("a") is not None
    assert network.site("b") is None


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'time_zone = "UTC"',
            'time_zon = "UTC"',
            "Did you mean 'time_zone'",
        ),
        ('time_zone = "UTC"', "", "misses the key `time_zone`"),
        ("repeat_window_days = 30", 'repeat_window_days = "30"', "Expected `int`, got `str`"),
        (
            "repeat_window_days = 30",
            "repeat_windows_days = 30",
            "'repeat_window_days'",
        ),
        ('site = "a"', 'site = "b"', "belongs to the site 'b', which is not listed"),
        ('id = "n"', 'id = "n', "is not valid TOML.*line 2"),
        ("[[criteria]]", "[[criterias]]", "'criterias' is unknown"),
        ("[[operators]]", '[[operators]]\nid="op-1"\nsite="a"\ncode="2"\n[[operators]]', "twice"),
    ],
)
def test_parse_network_names_what_is_wrong(old: str, new: str, message: str) -> None:
    with pytest.raises(NetworkFolderError, match=f"(?s){message}"):
        parse_network(NETWORK.replace(old, new), where="network.toml")


def test_parse_network_reads_limits_of_phantom_checks() -> None:
    more = "\n[phantom_checks]\nwarn_share = 0.03\nevery_days = 100\n"
    rules = parse_network(NETWORK + more, where="network.toml").phantom_checks
    assert (rules.warn_share, rules.act_share, rules.every_days) == (0.03, 0.10, 100)
    assert rules.baseline_sessions == 10


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("warn_share = 0.1", "below act_share"),
        ("warn_share = 5", "0.05 is 5 %"),
        ("baseline_sessions = 2", "3 or more baseline_sessions"),
        ("every_days = 0", "every_days 1 or more"),
        ("warn = 0.05", "one of warn_share, act_share"),
    ],
)
def test_parse_network_refuses_limits_of_phantom_checks_that_cannot_be(line, message) -> None:
    with pytest.raises(NetworkFolderError, match=f"(?s){message}"):
        parse_network(f"{NETWORK}\n[phantom_checks]\n{line}\n", where="network.toml")


def test_parse_network_without_criteria_is_refused() -> None:
    text = NETWORK[: NETWORK.index("[[criteria]]")]
    with pytest.raises(NetworkFolderError, match="no criteria set is in force"):
        parse_network(text, where="network.toml")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[7.0, 9.0]", "[9.0, 7.0]", "bands overlap: edge 7 stands after 9.*Put 7 before 9"),
        ("[7.0, 9.0]", "[nan, 9.0]", "bands overlap"),
        ("[7.0, 9.0]", "[7.0, inf]", "no positive number"),
        ("[7.0, 9.0]", "[-7.0, 9.0]", "no positive number"),
        ("[7.0, 9.0]", "[7.0, 7.0]", "bands overlap"),
        ("[7.0, 9.0]", "[7.0]", "3 labels for 2 bands"),
        ("edges", "edge", "Did you mean 'edges'"),
    ],
)
def test_parse_grade_table_refuses_bands_that_do_not_fit(old: str, new: str, message: str) -> None:
    with pytest.raises(DefinitionError, match=f"(?s){message}"):
        parse_grade_table(GRADES.replace(old, new), where="t.toml")


def test_parse_profile_flattens_tables_and_keeps_the_fingerprint() -> None:
    profile = parse_profile(PROFILE, where="p.toml")
    assert profile.full_id == "p.v2"
    assert (profile.delimiter, profile.decimal, profile.encoding) == (";", ",", "utf-8")
    assert profile.stiffness_limits_kpa == (1.5, 75.0)
    exam = profile.column("exam_id")
    probe = profile.column("probe")
    assert exam is not None
    assert exam.headings == ("Exam",)
    assert probe is not None
    assert probe.codes == (("1", "standard"),)
    assert profile.fingerprint != parse_profile(PROFILE + "\n", where="p.toml").fingerprint


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('headings = "Exam"', 'heading = "Exam"', "Did you mean 'headings'"),
        ("[columns.exam_id]", "[columns]\nexam_id = 3\n[columns.other]", "is no table"),
        ('delimiter = ";"', 'delimeter = ";"', "Did you mean 'delimiter'"),
        ("version = 2", "", "misses the key `version`"),
    ],
)
def test_parse_profile_names_what_is_wrong(old: str, new: str, message: str) -> None:
    with pytest.raises(ProfileError, match=f"(?s){message}"):
        parse_profile(PROFILE.replace(old, new), where="p.toml")


READINGS = """
[measurements]
layout = "rows"
headings = ["Reading"]
quartile_type = 7
lists_attempts = true
mean_of = ["roi_depth_mm"]
"""


def test_parse_profile_reads_where_single_readings_stand() -> None:
    told = parse_profile(PROFILE + READINGS, where="p").measurements
    assert told is not None
    assert (told.layout, told.headings, told.quartile_type) == ("rows", ("Reading",), 7)
    assert (told.lists_attempts, told.mean_of, told.unit) == (True, ("roi_depth_mm",), None)
    assert parse_profile(PROFILE, where="p").measurements is None


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (READINGS.replace("layout", "layuot"), "Did you mean 'layout'?"),
        (READINGS.replace("quartile_type = 7\n", ""), "quartile_type"),
        (READINGS.replace('["Reading"]', '"Reading"'), "array"),
    ],
)
def test_parse_profile_refuses_slips_in_measurements(wrong: str, words: str) -> None:
    with pytest.raises(ProfileError, match="p") as caught:
        parse_profile(PROFILE + wrong, where="p")
    assert words in caught.value.message
