"""Distributions over bands as bars of one hue, with the same numbers as a table."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.components.basics import wild
from dashboard.components.tables import table
from qa.views import words
from qa.views.shown import GradeBar


def band_key(labels: Sequence[str]) -> Component:
    """The bands by name, lightest first; the order in the bars is the same."""
    return html.Ol(
        [
            html.Li([html.Span(className=f"swatch {_shade(k, len(labels))}"), label])
            for k, label in enumerate(labels)
        ],
        className="band-key",
    )


def _shade(band: int, n_bands: int) -> str:
    """One of five shades, spread over the bands that the table has."""
    return f"band-{round(band * 4 / max(n_bands - 1, 1))}"


def band_bars(bars: Sequence[GradeBar]) -> Component:
    """One bar a row. A part too narrow for its figure goes without; see the table."""
    return html.Div(
        [
            html.Div(
                [
                    html.Span(bar.label, className="bar-name"),
                    _bar(bar),
                    html.Span(words.counted(bar.n, "exam"), className="bar-n"),
                ],
                className="bar-row",
            )
            for bar in bars
        ],
        className="bars",
        **wild(aria_hidden="true"),
    )


def _bar(bar: GradeBar) -> Component:
    if not bar.n:
        return html.Span(words.NO_DATA, className="bar state-word")
    return html.Span(
        [
            html.Span(
                html.Span(words.percent_number(share)),
                className=f"bar-part {_shade(k, len(bar.shares))}",
                style={"width": f"{100 * share:.3f}%"},
                title=f"{label}: {words.percent(share)}",
            )
            for k, (label, share) in enumerate(zip(bar.band_labels, bar.shares, strict=True))
        ],
        className="bar",
    )


def band_table(caption: str, bars: Sequence[GradeBar]) -> Component:
    """Every share with its interval and n."""
    labels = bars[0].band_labels if bars else ()
    rows = [
        (
            bar.label,
            words.whole(bar.n),
            *(
                words.percent_with_interval(share, lower, upper)
                for share, lower, upper in zip(bar.shares, bar.lower, bar.upper, strict=True)
            ),
            *([words.NO_DATA] * (0 if bar.n else len(labels))),
        )
        for bar in bars
    ]
    return table(caption, ("", "Exams", *labels), rows, numeric=tuple(range(1, len(labels) + 2)))
