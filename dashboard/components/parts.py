"""Parts of a change as bars about the line of no change, each with its interval."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.components.basics import wild
from qa.views.explain_rows import PartRow


def part_bars(rows: Sequence[PartRow]) -> Component:
    """One bar a row; the same figures stand in the text beside it."""
    return html.Div(
        [
            html.Div(
                [
                    html.Span(row.name, className="bar-name"),
                    html.Span(
                        [
                            html.Span(className="part-zero", style={"left": f"{row.zero}%"}),
                            html.Span(
                                className="part-bar",
                                style={"left": f"{row.left}%", "width": f"{row.width}%"},
                            ),
                            html.Span(
                                className="part-range",
                                style={"left": f"{row.low}%", "right": f"{100 - row.high}%"},
                            ),
                        ],
                        className="part",
                        **wild(aria_hidden="true"),
                    ),
                    html.Span(row.text, className="bar-n"),
                ],
                className="bar-row parts-row",
            )
            for row in rows
        ],
        className="bars",
    )
