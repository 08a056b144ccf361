"""New, changed, unchanged; an old file never undoes a later correction."""

from datetime import date

import polars as pl
import pytest

from qa.intake.apply import apply_checks
from qa.intake.checks import VERSION_CHECKS
from qa.intake.versions import decide_versions, join_known
from tests.unit.intake.invented import NOW, profile

DAY, OTHER_DAY = date(2026, 3, 5), date(2026, 3, 6)
LATEST = pl.DataFrame(
    {
        "exam_key": ["a"],
        "version_no": pl.Series([3], dtype=pl.Int32),
        "row_hash": ["h"],
        "patient_key": ["p"],
        "exam_on": [DAY],
        "first_seq": [5],
    }
)


def row(**changes) -> pl.DataFrame:
    base = {
        "exam_key": "a", "row_hash": "h2", "patient_key": "p", "exam_on": DAY,
        "file_first_seq": None, "file_no": 0, "row_no": 1, "site_id": "s", "file_id": "f",
        "profile_id": "p.v1", "known_at": NOW, "flags": ["CHK-023"],
    }  # fmt: skip
    return pl.DataFrame([base | changes], schema_overrides={"file_first_seq": pl.Int64})


@pytest.mark.parametrize(
    ("changes", "version_no"),
    [
        ({"exam_key": "b"}, 1),
        ({}, 4),
        ({"row_hash": "h"}, None),
        ({"file_first_seq": 4}, None),
        ({"file_first_seq": 5}, 4),
        ({"file_first_seq": 6}, 4),
        ({"exam_key": "b", "file_first_seq": 4}, 1),
    ],
)
def test_decide_versions(changes: dict, version_no: int | None):
    decided = decide_versions(join_known(row(**changes), LATEST))
    assert decided.entering["version_no"].to_list() == ([version_no] if version_no else [])
    assert decided.entering.height + decided.unchanged.height == 1


@pytest.mark.parametrize(
    ("changes", "is_held"),
    [
        ({"patient_key": "q"}, False),
        ({"exam_on": OTHER_DAY}, False),
        ({"patient_key": "q", "exam_on": OTHER_DAY}, True),
        ({"patient_key": "q", "exam_on": OTHER_DAY, "exam_key": "new"}, False),
    ],
)
def test_version_check_exam_number_used_again(changes: dict, is_held: bool):
    """One difference is a correction; both together are another exam."""
    joined = join_known(row(**changes), LATEST)
    result = apply_checks(joined, checks=VERSION_CHECKS, profile=profile())
    assert result.quarantined["codes"].to_list() == ([["CHK-029"]] if is_held else [])
    assert result.accepted["flags"].to_list() == ([] if is_held else [["CHK-023"]])
