"""Small parts of a page: links, marks, notes, sections."""

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from qa.model.words import PointState
from qa.views.heat import STATE_WORDS

Child = Component | str | None
MARKED = (PointState.LOOK.value, PointState.WATCH.value, PointState.STEADY.value)


def wild(**attributes: str) -> dict[str, Any]:
    """aria- and data- attributes: wild(aria_label="Screens") → {"aria-label": "Screens"}"""
    return {name.replace("_", "-"): value for name, value in attributes.items()}


def link(text: Any, href: str, *, css: str = "") -> Component:
    """A link within the dashboard; changes the address without loading the page anew."""
    return dcc.Link(text, href=href, className=css or None)


def file_link(text: str, href: str) -> Component:
    """A link to a file; the browser asks the server for it."""
    return html.A(text, href=href, className="file")


def state_mark(state: str, *, word: str | None = None) -> Component:
    """Filled diamond, hollow diamond or dot with its word; other states are their word.

    Args: word: in place of the state's own word.
    """
    word = word or STATE_WORDS[state]
    if state not in MARKED:
        return html.Span(word, className="state-word")
    return html.Span(
        [html.Span(className=f"mark mark-{state}"), html.Span(word, className="state-word")],
        className="state",
    )


def bare_mark(state: str) -> list[Component]:
    """As state_mark where a legend stands nearby: the word is there for screen readers only."""
    word = STATE_WORDS[state]
    if state not in MARKED:
        return [html.Span(word, className="state-word")]
    return [html.Span(className=f"mark mark-{state}"), html.Span(word, className="unseen")]


def legend(*, has_late: bool = False) -> Component:
    """One line that names the marks."""
    late = [html.Span("late = no exams sent")] if has_late else []
    marks = [state_mark(state) for state in MARKED]
    return html.P([*marks, html.Span("few = too few exams"), *late], className="legend")


def section(title: str, *children: Any, id: str, note: Child = None) -> Component:
    """A titled part of a page that a link can point to."""
    return html.Section(
        [html.H2(title, id=id), html.P(note, className="note") if note else None, *children],
        **wild(aria_labelledby=id),
    )


def problems(sentences: tuple[str, ...]) -> Component | None:
    """What the address asked for and is not there; nothing where all is well."""
    if not sentences:
        return None
    return html.Div([html.P(text) for text in sentences], className="problem", role="status")


def facts(pairs: tuple[tuple[str, Child], ...], *, css: str = "facts") -> Component:
    """Named values side by side."""
    return html.Dl(
        [html.Div([html.Dt(name), html.Dd(value)]) for name, value in pairs], className=css
    )
