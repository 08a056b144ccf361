"""One definition as the Methods screen shows it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Method:
    """One definition as shown: anchor is its place on the page (#…)."""

    anchor: str
    code: str
    title: str
    sentence: str
    facts: tuple[tuple[str, str], ...]
    source: str
    confidence: str
    is_in_force: bool = True
