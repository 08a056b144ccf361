"""The Methods view holds everything that is defined, with its source."""

from qa.charts.rules import CHART_RULES
from qa.intake.checks import CHECKS
from qa.model.definitions import CAUTION
from qa.views.methods import methods_view
from tests.pages.sample_published import sample_published


def codes(key: str) -> set[str]:
    sections = {name: methods for name, _, methods in methods_view(sample_published()).sections}
    return {method.code for method in sections[key]}


def test_methods_view_lists_every_definition():
    definitions = sample_published().definitions
    assert codes("measures") == set(definitions.measures)
    assert codes("criteria") == set(definitions.criteria)
    assert codes("grades") == set(definitions.grade_tables)
    assert codes("rules") == set(CHART_RULES)
    assert codes("checks") == {check.code for check in CHECKS}


def test_methods_view_gives_source_and_confidence_of_every_definition():
    for key, _, methods in methods_view(sample_published()).sections:
        for method in methods:
            if key in ("measures", "criteria", "grades"):
                assert method.source, method.code
                assert method.confidence, method.code


def test_methods_view_says_which_criteria_set_is_in_force():
    sections = {key: methods for key, _, methods in methods_view(sample_published()).sections}
    facts = {method.code: dict(method.facts)["In force"] for method in sections["criteria"]}
    assert facts["common-practice.v2"] == "from 2026-01-01"
    assert facts["classic.v1"] == "not in this network"


def test_methods_view_words_common_practice_as_agreed():
    """Common practice, no source: ten valid, IQR/median under 30 %, 40 dB/m, fasting 2 h."""
    sections = {key: methods for key, _, methods in methods_view(sample_published()).sections}
    (method,) = [one for one in sections["criteria"] if one.code == "common-practice.v1"]
    facts = dict(method.facts)
    assert facts["Stiffness, TE and pSWE"].startswith(
        "at least 10 valid measurements; IQR/median < 30.0 %"
    )
    assert facts["Attenuation, TE"] == "IQR < 40 dB/m"
    assert facts["Preparation"].startswith("fasting 2 h or more")


def test_methods_view_shows_the_caution_and_the_snapshot():
    view = methods_view(sample_published())
    assert view.caution == CAUTION
    assert sample_published().snapshot_id in view.snapshot_text
