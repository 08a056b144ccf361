"""Published rates to compare with: a reference, never a limit or a target."""

from dataclasses import dataclass

from qa.model.errors import DefinitionError
from qa.model.parsing import build, fingerprint_of, parse_toml


@dataclass(frozen=True)
class ComparisonRate:
    """One published share whose definition is that of a measure.

    Args:
        measure: id of the measure that counts the same.
        criteria: criteria sets under which it does; empty: whatever the set, because the share
            does not hang on it.
        value: share, 0 to 1; n: exams that it was counted on.
        techniques: the techniques that it speaks of.
        definition: what was counted, in words.
    """

    id: str
    measure: str
    criteria: tuple[str, ...]
    value: float
    n: int
    techniques: tuple[str, ...]
    population: str
    definition: str
    source: str
    confidence: str
    fingerprint: str = ""

    def fits(self, measure_id: str, criteria_id: str | None) -> bool:
        """The measure, under this criteria set, counts what was published."""
        return self.measure == measure_id and (not self.criteria or criteria_id in self.criteria)


def parse_comparison_rate(text: str, *, where: str) -> ComparisonRate:
    """Raises: DefinitionError when a key is wrong or the value is no share."""
    found = build(
        ComparisonRate,
        parse_toml(text, where=where, error=DefinitionError)
        | {"fingerprint": fingerprint_of(text)},
        where=where,
        error=DefinitionError,
    )
    if not 0 < found.value < 1 or found.n < 1:
        raise DefinitionError(
            f"value is {found.value} of {found.n}",
            where=where,
            expected="a share between 0 and 1 of at least one exam",
            code="DEF-008",
        )
    return found
