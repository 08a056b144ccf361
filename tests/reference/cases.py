"""Read the worked examples of cases.toml, and hold found figures against every one of a case."""

import csv
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

SHARED = Path(__file__).parents[3] / "shared" / "reference"


@cache
def all_cases() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "cases.toml").read_text(encoding="utf-8"))


def data(case_id: str, *columns: str) -> list[np.ndarray]:
    """Columns of a case's data as arrays."""
    return [np.array(all_cases()[case_id]["data"][column]) for column in columns]


def expected(case_id: str, name: str) -> Any:
    return all_cases()[case_id]["expected"][name]["value"]


def hold(case_id: str, found: dict[str, Any]) -> None:
    """Compare found figures with all expected ones of the case: none left out, none added."""
    entries = all_cases()[case_id]["expected"]
    assert found.keys() == entries.keys()
    for name, entry in entries.items():
        gap = _distance(found[name], entry["value"])
        room = entry["tolerance"] + _rounding(entry["value"])
        assert gap <= room, f"{case_id}: {name} is off by {gap}"


def _rounding(value: Any) -> float:
    """Half a unit of the twelfth digit, to which figures were collected; 0 for words."""
    if isinstance(value, dict):
        return _rounding(list(value.values()))
    if isinstance(value, list):
        return max((_rounding(one) for one in value), default=0.0)
    return (
        0.0 if isinstance(value, str) or not value else 5e-12 * 10 ** np.floor(np.log10(abs(value)))
    )


def _distance(found: Any, value: Any) -> float:
    """Largest distance between figures of the same shape; infinite where words differ."""
    if isinstance(value, dict):
        assert found.keys() == value.keys()
        return max(_distance(found[name], value[name]) for name in value)
    if isinstance(value, list):
        assert len(found) == len(value)
        return max((_distance(*pair) for pair in zip(found, value, strict=True)), default=0.0)
    if isinstance(value, str) or isinstance(found, str):
        return 0.0 if found == value else float("inf")
    return abs(float(found) - value)


def shared_rows(name: str) -> list[dict[str, str]]:
    """Rows of a data file too large to type in; skips where the collection is not beside us."""
    if not (SHARED / name).exists():
        pytest.skip(f"{name} (public data of the named source) is not beside the project")
    with (SHARED / name).open(newline="") as file:
        return list(csv.DictReader(file))


def outside(values, lcl, ucl) -> list[int]:
    """1-based places strictly outside."""
    return (np.flatnonzero((values > ucl) | (values < lcl)) + 1).tolist()
