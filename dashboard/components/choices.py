"""Choices: plain links, and native selects that lead to an address (see assets/choices.js)."""

from collections.abc import Sequence
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.addresses import Page
from dashboard.components.basics import link, wild
from dashboard.selection import PERIODS, Context
from qa.model.months import month_name


def select(
    label: str, options: Sequence[tuple[str, str]], *, chosen: str, id: str | None = None
) -> Component:
    """A native select with a button; an option's value is the address that it leads to.

    Args: options: (text, address). chosen: address of the option that is shown.
    """
    name: dict[str, Any] = {"id": id} if id else {}
    return html.Span(
        [
            html.Label(
                [
                    html.Span(label, className="label"),
                    html.Select(
                        [
                            html.Option(text, value=href, selected=href == chosen)
                            for text, href in options
                        ],
                        key=chosen,
                        **wild(data_goto="select"),
                        **name,
                    ),
                ]
            ),
            html.Button("Show", type="button", **wild(data_goto="button")),
        ],
        className="choice",
    )


def month_select(context: Context, page: Page, *, id: str) -> Component:
    options = [
        (month_name(month), context.here(page, month=f"{month:%Y-%m}"))
        for month in reversed(context.selection.months)
    ]
    return select("Month", options, chosen=context.here(page), id=id)


def links(label: str, options: Sequence[tuple[str, str, bool]]) -> Component:
    """A short choice as a line of links: (text, address, whether it is the present one)."""
    return html.P(
        [
            html.Span(label, className="label"),
            *(
                html.Strong(text, **wild(aria_current="true")) if is_here else link(text, href)
                for text, href, is_here in options
            ),
        ],
        className="links",
    )


def period_links(context: Context, page: Page) -> Component:
    return links(
        "Charts over",
        [
            (
                f"{period} months",
                context.here(page, period=period),
                period == context.selection.period,
            )
            for period in PERIODS
        ],
    )
