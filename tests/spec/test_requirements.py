"""The catalogue of requirements: clauses and marks as the domain notes list them (part 7.1).

Clause numbers of ISO 15189 are from memory there, so each carries that mark here; ISO 9001, 10.2
was read as quoted elsewhere. Nothing claims to have been read in a standard.
"""

import re
from pathlib import Path

import pytest

from qa.model.document_words import EvidenceRule
from qa.model.errors import DefinitionError
from qa.model.requirement import CLAUSE_MARKS, REQUIREMENTS_CAUTION, parse_requirement
from qa.stores.definitions import load_definitions

DOMAIN = Path(__file__).parents[3] / "shared" / "domain.md"
CATALOGUE = load_definitions().newest_requirements()
CLAUSES_15189 = (
    *("6.2", "6.4", "6.5", "7.3.2", "7.3.3", "7.3.4", "7.3.7", "7.5", "7.6", "7.8"),
    *("8.3", "8.4", "8.5", "8.6", "8.7", "8.8", "8.9"),
)
"""Domain notes, part 7.1, marked [M, high] there."""


@pytest.mark.parametrize("one", CATALOGUE, ids=lambda one: one.id)
def test_clause_is_one_of_the_domain_notes_with_its_mark(one) -> None:
    if one.clause.startswith("ISO 9001:2015"):
        assert (one.clause, one.clause_mark) == ("ISO 9001:2015, 10.2", "R2")
        return
    assert one.clause.startswith("ISO 15189:2022, ")
    assert one.clause_mark == "M"
    assert set(re.findall(r"\d\.\d(?:\.\d)?", one.clause)) <= set(CLAUSES_15189)
    assert "from memory" in one.clause_words


def test_clauses_here_are_those_that_the_domain_notes_list() -> None:
    if not DOMAIN.exists():
        pytest.skip("the domain notes (../shared/domain.md) are not here")
    table = DOMAIN.read_text(encoding="utf-8").split("### 7.1")[1].split("### 7.2")[0]
    listed = {one for line in table.splitlines() for one in re.findall(r"\b\d\.\d(?:\.\d)?", line)}
    ends = {"7.3.3", "8.6"}  # Inside the ranges 7.3.2–7.3.4 and 8.5–8.7.
    assert set(CLAUSES_15189) - ends <= listed


def test_every_rule_is_asked_by_some_requirement_and_ids_are_unique() -> None:
    assert {one.rule for one in CATALOGUE} == set(EvidenceRule)
    assert len({one.id for one in CATALOGUE}) == len(CATALOGUE)
    assert all(one.fingerprint for one in CATALOGUE)


def test_every_measure_exists_and_its_limit_has_a_source() -> None:
    keys = {one.key for one in load_definitions().measures.values()}
    for one in CATALOGUE:
        if one.rule is EvidenceRule.MEASURE:
            assert one.measure in keys
            assert one.limit_source


def test_caution_says_that_words_are_our_own_and_numbers_to_be_verified() -> None:
    assert "quote no standard" in REQUIREMENTS_CAUTION
    assert "verified" in REQUIREMENTS_CAUTION
    assert set(CLAUSE_MARKS) == {"R", "R2", "M", "P"}


GOOD = """
id = "REQ-900"
version = 1
title = "T"
asks = "A"
clause = ""
clause_mark = "P"
rule = "measure"
evidence = "E"
measure = "reliable"
at_least_share = 0.8
"""


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ('clause_mark = "P"', 'clause_mark = "Q"', "DEF-020"),
        ("at_least_share = 0.8", "", "DEF-021"),
        ("at_least_share = 0.8", "at_least_share = 0.8\nat_most_share = 0.9", "DEF-021"),
        ('measure = "reliable"\n', "", "DEF-021"),
        ('rule = "measure"', 'rule = "signed"', "DEF-021"),
        ("at_least_share = 0.8", "at_least_share = 80.0", "DEF-022"),
        ('rule = "measure"', 'rule = "guessed"', "DEF-003"),
        ("at_least_share", "at_leest_share", "DEF-002"),
    ],
)
def test_wrong_requirement_is_refused(old: str, new: str, code: str) -> None:
    assert parse_requirement(GOOD, where="x").clause_words == "Proposal of this tool, no clause"
    with pytest.raises(DefinitionError, match=code):
        parse_requirement(GOOD.replace(old, new), where="x")
