"""Registers → network.toml, with comments, as a person would write it."""

import json
from datetime import date

from demo_sites.plan import Registers
from demo_sites.scenario import Scenario, SitePlan
from demo_sites.shapes import shape_by_id
from qa.model.definitions import Device, Operator, Settings

_SETTINGS = (
    ("repeat_window_days", "a patient seen again within so many days counts as a repeat"),
    ("expected_day", "day of the month by which last month's files are expected"),
    ("baseline_months", "months that set the limits of a chart"),
    ("baseline_min_exams", "fewest exams in those months; with fewer the network's limits serve"),
    ("funnel_months", "months that a comparison of sites and operators looks at"),
    ("min_exams_shown", "smaller groups are not shown in packs"),
    ("false_items_per_month", "new items a month that chance alone may put on the list"),
    ("criteria_need_approval", "a criteria set judges only when two people agreed on it"),
    ("port", "port of the dashboard on this machine"),
)

GRADE_TABLES = (
    ("stage_castera2005_hcv.v1", "stiffness", ("TE",)),
    ("lsm_sru2020_rule4.v1", "stiffness", ("pSWE", "2D-SWE")),
    ("att_karlas2017.v1", "attenuation", ("TE",)),
)
CRITERIA = "common-practice.v1"


def network_text(scenario: Scenario, registers: Registers) -> str:
    """The whole file as text."""
    return "\n".join(
        [
            *_head(scenario),
            *_settings(scenario),
            *_rules(scenario.first_month),
            *_sites(scenario),
            *_operators(registers),
            *_devices(registers),
        ]
    )


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _listed(words: tuple[str, ...]) -> str:
    return "[" + ", ".join(_quoted(word) for word in words) + "]"


def _head(scenario: Scenario) -> list[str]:
    return [
        "# An invented network: places, people, patients and exams stand for nobody.",
        f"id = {_quoted(scenario.network.id)}",
        f"name = {_quoted(scenario.network.name)}",
        "is_invented = true",
        'note = "Invented for demonstration; no real clinic, person or exam."',
        "",
    ]


def _settings(scenario: Scenario) -> list[str]:
    defaults = Settings(criteria_need_approval=True)
    lines = ["# Choices that the network makes.", "[settings]"]
    for key, sentence in _SETTINGS:
        value = scenario.settings.get(key, getattr(defaults, key))
        told = str(value).lower() if isinstance(value, bool) else value
        lines.append(f"{key} = {told}  # {sentence}")
    return [*lines, ""]


def _rules(first_month: date) -> list[str]:
    lines = [
        "# The criteria set that judges exams from its first day on. A later entry takes over from",
        "# its own day; charts never join exams judged by different sets.",
        "[[criteria]]",
        f"id = {_quoted(CRITERIA)}",
        f"from = {first_month.isoformat()}",
        "",
        "# Bands for comparing sites, never a diagnosis. Each table fits its techniques only.",
    ]
    for table_id, quantity, techniques in GRADE_TABLES:
        lines += [
            "[[grade_tables]]",
            f"id = {_quoted(table_id)}",
            f"from = {first_month.isoformat()}",
            f"quantity = {_quoted(quantity)}",
            f"techniques = {_listed(techniques)}",
            "",
        ]
    return lines


def _sites(scenario: Scenario) -> list[str]:
    lines = ["# Sites: where exams are done, and the profile that reads their files."]
    for site in scenario.sites:
        lines += [
            "[[sites]]",
            f"id = {_quoted(site.id)}",
            f"name = {_quoted(site.name)}",
            f"time_zone = {_quoted(scenario.network.time_zone)}",
            f"profile = {_quoted(shape_by_id(site.shape).profile)}",
            f"lead = {_quoted(site.lead)}",
            *_report_profile(site),
            "",
        ]
    return lines


def _report_profile(site: SitePlan) -> list[str]:
    if site.report_shape is None:
        return []
    shape = shape_by_id(site.report_shape)
    return [
        "# Files with this ending come from another device and are read by a profile of their own.",
        f"profiles_by_ending = {{ {shape.ending} = {_quoted(shape.profile)} }}",
    ]


def _assignments(of: str, item: Operator | Device) -> list[str]:
    """Where an operator or device is from which day to which, and under which code."""
    lines = []
    for one in item.assignments:
        lines += [f"[[{of}.assignments]]", f"site = {_quoted(one.site)}"]
        if one.code:
            lines.append(f"code = {_quoted(one.code)}")
        if one.from_day is not None:
            lines.append(f"from = {one.from_day.isoformat()}")
        if one.to_day is not None:
            lines.append(f"to = {one.to_day.isoformat()}")
    return lines


def _operators(registers: Registers) -> list[str]:
    lines = ["# Operators: `code` is what the site's files hold. Names are kept elsewhere."]
    for person in registers.operators:
        lines += [
            "[[operators]]",
            f"id = {_quoted(person.id)}",
            f"site = {_quoted(person.site)}",
            f"code = {_quoted(person.code)}",
        ]
        if person.started is not None:
            lines.append(f"started = {person.started.isoformat()}")
        lines += [*_assignments("operators", person), ""]
    return lines


def _devices(registers: Registers) -> list[str]:
    lines = ["# Devices: `code` is what the site's files hold."]
    for device in registers.devices:
        lines += [
            "[[devices]]",
            f"id = {_quoted(device.id)}",
            f"site = {_quoted(device.site)}",
            f"code = {_quoted(device.code)}",
            f"techniques = {_listed(device.techniques)}",
            *_assignments("devices", device),
            "",
        ]
    return lines
