"""Do the bands of a grade table follow one another without overlap, each with its label?"""

from itertools import pairwise
from math import isfinite

from qa.model.definitions import GradeTable
from qa.model.errors import DefinitionError


def check_bands(table: GradeTable, *, where: str) -> None:
    """Raises: DefinitionError: edges that do not rise, are no values, or do not fit the labels."""
    for low, high in pairwise(table.edges):
        if not low < high:
            raise DefinitionError(
                f"the bands overlap: edge {high:g} stands after {low:g}",
                where=f"{where}, edges",
                expected="edges that rise from one to the next",
                todo=f"Put {high:g} before {low:g}, or leave one of them out",
                code="DEF-004",
            )
    if not all(isfinite(edge) and edge > 0 for edge in table.edges):
        raise DefinitionError(
            "an edge is no positive number",
            where=f"{where}, edges",
            expected=f"values in {table.unit} above 0",
            code="DEF-004",
        )
    if len(table.labels) != len(table.edges) + 1:
        raise DefinitionError(
            f"{len(table.labels)} labels for {len(table.edges) + 1} bands",
            where=where,
            expected="one label more than edges",
            code="DEF-005",
        )
