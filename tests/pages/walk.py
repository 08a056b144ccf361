"""Reading a Dash layout in tests: all components, all text, all addresses."""

from collections.abc import Iterator
from typing import Any

from dash.development.base_component import Component


def components(node: Any) -> Iterator[Component]:
    """The node and everything below it, in the order of the page."""
    if isinstance(node, list | tuple):
        for child in node:
            yield from components(child)
    elif isinstance(node, Component):
        yield node
        yield from components(getattr(node, "children", None))


def text(node: Any) -> str:
    if isinstance(node, list | tuple):
        return " ".join(text(child) for child in node)
    if isinstance(node, Component):
        return text(getattr(node, "children", None))
    return "" if node is None else str(node)


def of_kind(node: Any, kind: str) -> list[Component]:
    return [one for one in components(node) if type(one).__name__ == kind]


def addresses(node: Any) -> list[str]:
    return [one.href for one in components(node) if getattr(one, "href", None)]


def element(node: Any, id: str) -> Component:
    (found,) = [one for one in components(node) if getattr(one, "id", None) == id]
    return found
