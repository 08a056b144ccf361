"""What one check saw at one unit."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Seen:
    """What was looked at and what was found.

    Args:
        n: looked at. found: of these, or an index.
        expected: what the unit's own values let expect; p_value: chance of what was found; both
            only of checks that judge a unit by itself.
        is_large: large enough to matter, beside being unlikely.
        why_not: why the check cannot tell; "": it can.
        detail: said after the question.
    """

    n: int
    found: float
    expected: float | None = None
    p_value: float | None = None
    is_large: bool = True
    why_not: str = ""
    detail: str = ""
