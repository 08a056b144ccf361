"""Tables: plain ones, and units × measures with marks."""

from collections.abc import Callable, Sequence
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.components.basics import bare_mark, link, wild
from qa.model.definitions import Measure
from qa.views import words
from qa.views.heat import HeatCell, HeatRow


def table(
    caption: str,
    headings: Sequence[str],
    rows: Sequence[Sequence[Any]],
    *,
    numeric: Sequence[int] = (),
    long: Sequence[int] = (),
) -> Component:
    """A table whose first column names the row. It scrolls within itself where it is too wide.

    Args: numeric: columns that are set right. long: columns whose text may break into lines.
    """
    css = [
        "number" if number in numeric else "long" if number in long else None
        for number in range(len(headings))
    ]
    head = html.Tr(
        [
            html.Th(text, scope="col", className=css[k]) if text else html.Td(className=css[k])
            for k, text in enumerate(headings)
        ]
    )
    body = [
        html.Tr(
            [
                html.Th(cell, scope="row", className=css[0])
                if k == 0
                else html.Td(cell, className=css[k])
                for k, cell in enumerate(row)
            ]
        )
        for row in rows
    ]
    return _wide(caption, head, body)


def heat_table(
    caption: str,
    rows: Sequence[HeatRow],
    measures: Sequence[Measure],
    *,
    row_href: Callable[[HeatRow], str],
    cell_href: Callable[[HeatRow, HeatCell], str],
) -> Component:
    """Units × measures; each mark is a link to the chart behind it."""
    head = [html.Td(className="corner")] + [
        html.Th(html.Span(item.short_title), scope="col", className="upright", title=item.title)
        for item in measures
    ]
    titles = {item.id: item.title for item in measures}
    body = [
        html.Tr(
            [
                html.Th(link(row.name, row_href(row)), scope="row"),
                *(_heat_cell(row, cell, titles, cell_href) for cell in row.cells),
            ]
        )
        for row in rows
    ]
    return _wide(caption, html.Tr(head), body, css="heat")


def _heat_cell(
    row: HeatRow,
    cell: HeatCell,
    titles: dict[str, str],
    cell_href: Callable[[HeatRow, HeatCell], str],
) -> Component:
    if cell.n is None:
        return html.Td(html.Span(cell.word, className="state-word"))
    return html.Td(
        html.Span(
            link(bare_mark(cell.state), cell_href(row, cell), css=f"cell cell-{cell.state}"),
            title=f"{row.name}, {words.lower_first(titles[cell.measure_id])}: {cell.text}, "
            f"{words.counted(cell.n, 'exam')}",
        )
    )


def months_table(
    caption: str,
    months: Sequence[Any],
    rows: Sequence[tuple[Any, Sequence[tuple[Any, str]]]],
) -> Component:
    """Units × months; a row is its name and a (content, explanation) for each month."""
    head: list[Component] = [html.Td(className="corner")]
    head += [html.Th(month, scope="col") for month in months]
    body = [
        html.Tr(
            [
                html.Th(name, scope="row"),
                *(html.Td(html.Span(content, title=said)) for content, said in cells),
            ]
        )
        for name, cells in rows
    ]
    return _wide(caption, html.Tr(head), body, css="months")


def _wide(
    caption: str, head: Component, body: Sequence[Component], *, css: str | None = None
) -> Component:
    """A table in a region that scrolls sideways, so it can be reached and has a name."""
    return html.Div(
        html.Table(
            [html.Caption(caption, className="unseen"), html.Thead(head), html.Tbody(list(body))],
            className=css,
        ),
        className="wide",
        tabIndex="0",
        role="group",
        **wild(aria_label=caption),
    )
