from datetime import date

import polars as pl

from qa.charts.equipment import months_of_change
from qa.model.equipment_schemas import EQUIPMENT_EVENTS
from qa.model.parsing import parse_network

TEXT = """
id = "n"
name = "N"
is_invented = true
[[sites]]
id = "a"
name = "A"
time_zone = "Europe/Oslo"
profile = "p"
[[sites]]
id = "b"
name = "B"
time_zone = "Europe/Oslo"
profile = "p"
[[operators]]
id = "1"
site = "b"
code = "X"
[[devices]]
id = "d1"
site = "a"
code = "u1"
techniques = ["TE"]
[[devices.assignments]]
site = "a"
to = 2026-03-31
[[devices.assignments]]
site = "b"
from = 2026-04-15
[[devices]]
id = "d2"
site = "a"
code = "u2"
techniques = ["TE"]
[[criteria]]
id = "common-practice.v1"
from = 2024-01-01
"""


def test_baselines_end_where_a_device_was_signed_off_after_an_event():
    network = parse_network(TEXT, where="test")
    row = {"device_id": "d2", "entry_no": 1, "site_id": "a", "probe": "", "event": "update"}
    events = EQUIPMENT_EVENTS.conform(
        pl.DataFrame(
            [
                {**row, "event_on": date(2026, 5, 30), "signed_on": date(2026, 6, 2)},
                {**row, "entry_no": 2, "event_on": date(2026, 8, 1), "signed_on": None},
            ]
        )
    )
    found = months_of_change(network, events, unit_kind="site", unit_id="a")
    assert found == (date(2026, 4, 1), date(2026, 6, 1))


def test_months_of_change_are_those_in_which_a_device_leaves_or_comes():
    network = parse_network(TEXT, where="test")
    found = {
        (kind, unit): months_of_change(network, unit_kind=kind, unit_id=unit)
        for kind, unit in (("site", "a"), ("site", "b"), ("operator", "1"), ("device", "d1"))
    }
    april = (date(2026, 4, 1),)
    assert found == {
        ("site", "a"): april,
        ("site", "b"): april,
        ("operator", "1"): april,
        ("device", "d1"): (),
    }
