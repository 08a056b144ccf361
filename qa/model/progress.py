"""How a long job tells how far it is; the command line decides how to show it."""

from collections.abc import Callable

Progress = Callable[[int, int, str], None]
"""Called with steps done, steps in all, and what is being done."""


def show_nothing(done: int, total: int, label: str) -> None:
    """Progress for callers that show none."""
