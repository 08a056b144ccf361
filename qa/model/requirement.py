"""A requirement of the programme: what it asks, which clause it answers, and what decides it.

All words are our own; the text of a standard is never quoted. Clause numbers that were not read in
the standard carry their mark.
"""

from dataclasses import dataclass

from qa.model.document_words import EvidenceRule
from qa.model.errors import DefinitionError
from qa.model.parsing import build, fingerprint_of, parse_toml

CLAUSE_MARKS = {
    "R": "read in the source",
    "R2": "read as quoted elsewhere, not in the source",
    "M": "from memory, to be verified against the standard",
    "P": "proposal of this tool, no clause",
}

REQUIREMENTS_CAUTION = (
    "Requirements are in our own words and quote no standard. ISO 15189 is written for "
    "laboratories; imaging services use it by analogy, or national imaging standards. Clause "
    "numbers marked 'from memory' are to be verified before they are relied on. Floors are "
    "proposals that the network may change by a new version of the requirement."
)


@dataclass(frozen=True)
class Requirement:
    """One thing that a site has to show each month.

    Args:
        id: "REQ-001", the same in every version.
        asks: what is asked, in our own words.
        clause: what it answers in a standard; "" for none.
        clause_mark: how sure the clause number is: a key of CLAUSE_MARKS.
        rule: what decides it.
        measure: key of a measure, for the rule "measure".
        at_least_share, at_most_share: limit of that measure, 0 to 1; on the limit counts as met.
        limit_source: where the limit comes from.
        evidence: what is looked at, in words.
    """

    id: str
    version: int
    title: str
    asks: str
    clause: str
    clause_mark: str
    rule: EvidenceRule
    evidence: str
    measure: str = ""
    at_least_share: float | None = None
    at_most_share: float | None = None
    limit_source: str = ""
    fingerprint: str = ""

    @property
    def full_id(self) -> str:
        return f"{self.id}.v{self.version}"

    @property
    def clause_words(self) -> str:
        """Example: 'ISO 15189:2022, 8.3 (from memory, to be verified against the standard)'"""
        mark = CLAUSE_MARKS[self.clause_mark]
        return f"{self.clause} ({mark})" if self.clause else mark[:1].upper() + mark[1:]


def parse_requirement(text: str, *, where: str) -> Requirement:
    """Raises: DefinitionError for a wrong key, an unknown mark, a measure without its one limit."""
    table = parse_toml(text, where=where, error=DefinitionError)
    found = build(
        Requirement,
        table | {"fingerprint": fingerprint_of(text)},
        where=where,
        error=DefinitionError,
    )
    if found.clause_mark not in CLAUSE_MARKS:
        raise DefinitionError(
            f"the clause has the mark '{found.clause_mark}'",
            where=where,
            expected=f"one of {', '.join(CLAUSE_MARKS)}",
            code="DEF-020",
        )
    limits = [one for one in (found.at_least_share, found.at_most_share) if one is not None]
    is_measure = found.rule is EvidenceRule.MEASURE
    if len(limits) != int(is_measure) or bool(found.measure) != is_measure:
        raise DefinitionError(
            f"the rule '{found.rule}' has {len(limits)} limits"
            + (f" and the measure '{found.measure}'" if found.measure else ""),
            where=where,
            expected="a measure with one limit for the rule 'measure', neither for the others",
            code="DEF-021",
        )
    if any(not 0 <= one <= 1 for one in limits):
        raise DefinitionError(
            f"the limit is {limits[0]:g}", where=where, expected="a share, 0 to 1", code="DEF-022"
        )
    return found
