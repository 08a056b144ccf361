"""What every screen has: skip link, header with screens and month, answer, footer."""

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import MENU, NEWEST, Account, Form, Page, address
from dashboard.components.basics import link, problems, wild
from dashboard.components.choices import month_select
from dashboard.selection import Context
from qa.model.definitions import CAUTION
from qa.model.errors import UserError


def screen(
    context: Context, page: Page, *, answer: str, subline: str = "", children: list[Any]
) -> Component:
    """A whole screen: the answer is its only first-level heading."""
    published = context.published
    invented = "Invented demo data. " if published.network.is_invented else ""
    return html.Div(
        [
            _skip_link(),
            html.Header(
                [
                    html.Strong(published.network.name, className="brand"),
                    _screens(context, page),
                    month_select(context, page, id=ids.Shell.MONTH_CHOICE),
                    _account_link(context),
                    _theme_button(),
                ]
            ),
            html.Main(
                [
                    problems(context.selection.problems),
                    html.H1(answer, id=ids.Shell.ANSWER, tabIndex="-1"),
                    html.P(subline, className="sub") if subline else None,
                    *children,
                ],
                id=ids.Shell.MAIN,
            ),
            _footer(
                f"{invented}Snapshot {published.snapshot_id}, published "
                f"{published.published_at:%Y-%m-%d %H:%M} UTC, version "
                f"{published.software_version}.",
                **wild(
                    data_snapshot=published.snapshot_id,
                    data_newest=context.prefix.rstrip("/") + NEWEST,
                ),
            ),
        ],
        className="screen",
    )


def _skip_link() -> Component:
    return html.A("Skip to the answer", href=f"#{ids.Shell.MAIN}", className="skip")


def _screens(context: Context, here: Page) -> Component:
    items = []
    for page, title in MENU.items():
        if page not in context.pages:
            continue
        is_here = page == here
        current = wild(aria_current="page") if is_here else {}
        items.append(
            html.Li(link(title, context.to(page)), className="here" if is_here else "", **current)
        )
    if context.manages_users:  # A plain page, so the browser loads it.
        items.append(html.Li(html.A("Users", href=address(Account.USERS, prefix=context.prefix))))
    return html.Nav(html.Ul(items), id=ids.Shell.NAV, **wild(aria_label="Screens"))


def _account_link(context: Context) -> Component | None:
    """A plain page, so the browser loads it; without accounts there is none."""
    if not context.person:
        return None
    href = address(Account.OWN, prefix=context.prefix)
    return html.A(context.person, href=href, className="person", id=ids.Shell.PERSON)


def _theme_button() -> Component:
    return html.Button("Light / dark", type="button", **wild(data_theme_toggle="yes"))


def _footer(line: str, **data: Any) -> Component:
    return html.Footer([html.P(CAUTION, id=ids.Shell.CAUTION), html.P(line)], **data)


def message_screen(title: str, *lines: str | Component, prefix: str) -> Component:
    """A screen that has nothing to show and says why, and what to do."""
    return html.Div(
        [
            _skip_link(),
            html.Header([html.Strong("Elastography QA", className="brand"), _theme_button()]),
            html.Main(
                [
                    html.H1(title, id=ids.Shell.ANSWER, tabIndex="-1"),
                    *(html.P(line) if isinstance(line, str) else line for line in lines),
                    html.P(html.A("To the Month screen", href=address(Page.MONTH, prefix=prefix))),
                ],
                id=ids.Shell.MAIN,
            ),
            _footer(""),
        ],
        className="screen",
    )


def nothing_published(error: UserError | None, *, prefix: str, can_try: bool = False) -> Component:
    form = html.P(html.A("Try a file", href=address(Form.TRY, prefix=prefix)))
    return message_screen(
        "Nothing is published yet.",
        "Screens read a published snapshot, and there is none with exams.",
        error.message if error else "Run 'elastoqa intake', then 'elastoqa refresh'.",
        *([form] if can_try else []),
        prefix=prefix,
    )
