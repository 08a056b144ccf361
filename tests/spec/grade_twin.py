"""Holds a grade table against the project's list of published values, where that list is there."""

import json
from pathlib import Path

import pytest

from tests.exam_tables import definitions

LIST = Path(__file__).parents[3] / "shared" / "domain_values.json"
MARKS = {
    "read here": "read in the source",
    "read here, second-hand": "read second-hand",
    "memory": "from memory, verify",
}


def assert_table_is_its_published_twin(key: str) -> None:
    """Edges, source and confidence mark are as listed; labels name no stage."""
    table = definitions().grade_tables[f"{key}.v1"]
    assert not any(letter + digit in "".join(table.labels) for letter in "FS" for digit in "01234")
    if not LIST.exists():
        pytest.skip("the list of published values (../shared/domain_values.json) is not here")
    listed = json.loads(LIST.read_text(encoding="utf-8"))["grade_tables"]
    twin = next(one for one in listed if one["id"] == key)
    steps = [twin[step] for step in ("F2", "F3", "F4", "S1", "S2", "S3") if step in twin]
    assert list(table.edges) == twin.get("edges", steps)
    assert (table.source, table.confidence) == (twin["source"], MARKS[twin["confidence"]])
