"""Reads the definition files that come with the product."""

from collections.abc import Callable
from functools import cache
from importlib import resources
from typing import Any

from qa.model.adjustment import parse_adjustment
from qa.model.comparison_rate import parse_comparison_rate
from qa.model.definitions import CriteriaSet, Network
from qa.model.errors import DefinitionError
from qa.model.parsing import parse_criteria_set, parse_grade_table, parse_measure
from qa.model.published import Definitions
from qa.model.requirement import Requirement, parse_requirement

KINDS = ("criteria", "grades", "measures", "adjustments", "rates", "requirements")


def read_definition_texts() -> dict[str, dict[str, str]]:
    """Every definition file's text: kind → file name → text."""
    root = resources.files("qa") / "definitions"
    return {
        kind: {
            item.name: item.read_text(encoding="utf-8")
            for item in sorted((root / kind).iterdir(), key=lambda one: one.name)
            if item.name.endswith(".toml")
        }
        for kind in KINDS
    }


def parse_definition_texts(texts: dict[str, dict[str, str]]) -> Definitions:
    """Texts → definitions by id.

    Raises: DefinitionError when a file is wrong or two files carry the same id.
    """
    return Definitions(
        criteria=_by_id(texts["criteria"], parse_criteria_set),
        grade_tables=_by_id(texts["grades"], parse_grade_table),
        measures=_by_id(texts["measures"], parse_measure),
        adjustments=_by_id(texts.get("adjustments", {}), parse_adjustment),
        rates=_by_id(texts.get("rates", {}), parse_comparison_rate),
        requirements=_requirements(texts.get("requirements", {})),
    )


def _by_id(texts: dict[str, str], parse: Callable[..., Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, text in texts.items():
        thing = parse(text, where=name)
        if thing.id in found:
            raise DefinitionError(f"the id '{thing.id}' stands twice", where=name, code="DEF-006")
        found[thing.id] = thing
    return dict(sorted(found.items()))


def _requirements(texts: dict[str, str]) -> dict[str, Requirement]:
    """By id and version, since versions share an id."""
    found: dict[str, Requirement] = {}
    for name, text in texts.items():
        one = parse_requirement(text, where=name)
        if one.full_id in found:
            raise DefinitionError(f"'{one.full_id}' stands twice", where=name, code="DEF-006")
        found[one.full_id] = one
    return dict(sorted(found.items()))


@cache
def load_definitions() -> Definitions:
    """Those that come with the product; they do not change while it runs."""
    return parse_definition_texts(read_definition_texts())


def sets_in_force(network: Network) -> list[CriteriaSet]:
    """The criteria sets that network.toml puts in force at any time; unknown ids are left out."""
    known = load_definitions().criteria
    return [known[one.id] for one in network.criteria if one.id in known]
