"""What changed between two versions of a document, in words.

Definition files are compared by what they say (tables, keys, values), not by their lines; other
texts line by line.
"""

import difflib
import tomllib
from collections.abc import Mapping
from typing import Any

SHOWN = 60
"""Characters of a text that are shown on each side."""
UNSAID = ("id", "version")
KEY_WORDS = {
    "min_valid": "valid measurements needed",
    "max_ratio_kpa_share": "highest IQR/median (kPa)",
    "max_ratio_m_s_share": "highest IQR/median (m/s)",
    "is_limit_allowed": "an exam exactly on the limit passes",
    "ratio_from_kpa": "IQR/median is asked from this median on (kPa)",
    "min_success_share": "lowest share of valid among attempted",
    "very_reliable_share": "very reliable up to this IQR/median",
    "max_iqr_db_m": "highest attenuation IQR (dB/m)",
    "min_fasting_hours": "hours of fasting asked",
    "min_rest_minutes": "minutes of rest asked",
    "is_position_asked": "position is asked",
    "is_part_of_verdict": "preparation is part of the verdict",
    "quartile_type": "type of quartiles",
    "min_n": "fewest for a verdict",
    "edges": "limits of the bands",
    "labels": "names of the bands",
    "stiffness": "stiffness rule",
    "attenuation": "attenuation rule",
    "from_day": "in force from",
}


def find_differences(before: str, after: str) -> tuple[str, ...]:
    """One sentence for each difference, in the order of the newer text; removed ones last.

    Args:     before: "" where there was no version before.
    Returns:  empty where both say the same, whatever their layout and comments.
    Example:  min_valid = 10 and min_valid = 8 → ('valid measurements needed: 10, now 8',)
    """
    if not before:
        return ()
    try:
        old, new = tomllib.loads(before), tomllib.loads(after)
    except tomllib.TOMLDecodeError:
        return _line_differences(before, after)
    return _compare(_flatten(old), _flatten(new))


def _compare(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[str, ...]:
    found = []
    for name, value in new.items():
        if name not in old:
            found.append(f"{name}: new, {_shown(value)}")
        elif old[name] != value:
            found.append(f"{name}: {_shown(old[name])}, now {_shown(value)}")
    gone = [f"{name}: {_shown(old[name])}, now left out" for name in old if name not in new]
    return (*found, *gone)


def _flatten(table: Mapping[str, Any], above: str = "") -> dict[str, Any]:
    """Nested tables as one: 'stiffness rule for TE, pSWE, valid measurements needed' → 10."""
    found: dict[str, Any] = {}
    for key, value in table.items():
        if not above and key in UNSAID:
            continue
        name = f"{above}{KEY_WORDS.get(key, key.replace('_', ' '))}"
        if isinstance(value, Mapping):
            found |= _flatten(value, f"{name}, ")
        elif isinstance(value, list) and value and isinstance(value[0], Mapping):
            for number, item in enumerate(value, start=1):
                found |= _flatten(item, f"{name} {_item_name(item, number)}, ")
        else:
            found[name] = value
    return found


def _item_name(item: Mapping[str, Any], number: int) -> str:
    """Items of a list are the same item when they are about the same thing."""
    if item.get("techniques"):
        return f"for {', '.join(item['techniques'])}"
    return str(item.get("id") or item.get("key") or number)


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(str(one) for one in value) or "none"
    text = " ".join(str(value).split())
    return text if len(text) <= SHOWN else f"“{text[:SHOWN].rstrip()}…”"


def _line_differences(before: str, after: str) -> tuple[str, ...]:
    old = [line.strip() for line in before.splitlines() if line.strip()]
    new = [line.strip() for line in after.splitlines() if line.strip()]
    found = []
    for line in difflib.ndiff(old, new):
        if line.startswith("+ "):
            found.append(f"new line: {_shown(line[2:])}")
        elif line.startswith("- "):
            found.append(f"line left out: {_shown(line[2:])}")
    return tuple(found)
