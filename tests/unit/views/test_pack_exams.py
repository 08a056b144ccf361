"""Why an exam did not meet its set: the rule and the figure beside it, on the right side of it."""

from dataclasses import replace
from typing import Any

import pytest

from qa.stores.definitions import load_definitions
from qa.views.pack_exams import why_not_met

EXAM: dict[str, Any] = {
    "criteria_id": "common-practice.v1",
    "technique": "TE",
    "outcome": "unreliable",
    "reasons": ["spread"],
    "ratio_share": 0.34,
    "success_share": None,
    "stiffness_unit": "kPa",
    "n_valid": 10,
    "n_attempted": 12,
    "fasting_hours": None,
    "rest_minutes": None,
}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        # Wording of domain practice: "did not meet criteria set X v2 (IQR/M 34 % > 30 %)".
        ({}, "did not meet common-practice.v1 (IQR/median 34 % ≥ 30 %)"),
        ({"ratio_share": 0.30}, "did not meet common-practice.v1 (IQR/median 30 % ≥ 30 %)"),
        (
            {"stiffness_unit": "m/s", "ratio_share": 0.2},
            "did not meet common-practice.v1 (IQR/median 20 % ≥ 15 % in m/s)",
        ),
        (
            {"reasons": ["too few valid"], "n_valid": 8},
            "did not meet common-practice.v1 (8 valid of the 10 asked for)",
        ),
        (
            {"reasons": ["no valid measurement"], "n_valid": 0},
            "did not meet common-practice.v1 (no valid measurement of 12)",
        ),
        (
            {"reasons": ["fasting", "spread"], "fasting_hours": 1.5},
            "did not meet common-practice.v1 (fasting 1.5 h < 2 h; IQR/median 34 % ≥ 30 %)",
        ),
        ({"reasons": ["fasting"]}, "did not meet common-practice.v1 (fasting not kept)"),
        ({"reasons": None, "outcome": "not judged"}, "not judged under common-practice.v1"),
        ({"criteria_id": "gone.v9"}, "did not meet gone.v9 (spread)"),
    ],
)
def test_why_names_rule_and_figure(change: dict[str, Any], words: str) -> None:
    assert why_not_met({**EXAM, **change}, load_definitions().criteria) == words


def test_share_just_beyond_an_allowed_limit_is_not_rounded_onto_it() -> None:
    known = load_definitions().criteria["common-practice.v1"]
    rule = replace(known.stiffness[0], is_limit_allowed=True)
    criteria = {known.id: replace(known, stiffness=(rule,))}
    assert "IQR/median 30.04 % > 30 %" in why_not_met({**EXAM, "ratio_share": 0.3004}, criteria)
