"""The dashboard: screens over a published snapshot. Reads only; nothing here can change it."""

import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import dash
import waitress
from dash import Dash
from dash.development.base_component import Component

from dashboard.addresses import HEALTH, TITLES, Page
from dashboard.case_pages import MakeDesk, add_case_pages
from dashboard.components.shell import message_screen, nothing_published
from dashboard.downloads import add_downloads
from dashboard.pages import followup, grades, intake, methods, month, operators, site
from dashboard.safety import add_headers
from dashboard.selection import Context, read_selection
from dashboard.source import CurrentSnapshot, PublishedSource
from dashboard.try_file import MAX_REQUEST_BYTES, ProfileTools, add_try_file
from qa.model.errors import UserError

LOG = logging.getLogger("elastoqa.dashboard")
HOST = "127.0.0.1"
THREADS = 8
NAME = "Elastography QA"

LAYOUTS: dict[Page, Callable[[Context], Component]] = {
    Page.MONTH: month.layout,
    Page.SITE: site.layout,
    Page.OPERATORS: operators.layout,
    Page.GRADES: grades.layout,
    Page.FOLLOWUP: followup.layout,
    Page.INTAKE: intake.layout,
    Page.METHODS: methods.layout,
}

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<title>{%title%}</title>
{%favicon%}
{%css%}
<script src="THEME"></script>
</head>
<body>
<noscript>This page needs JavaScript; the packs hold the same figures as PDF.</noscript>
{%app_entry%}
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>"""


def create_app(
    published_source: PublishedSource,
    *,
    path_prefix: str = "/",
    profile_tools: ProfileTools | None = None,
    make_desk: MakeDesk | None = None,
) -> Dash:
    """The app over a source of snapshots.

    Args:
        published_source: called for every page; gives the snapshot in force.
        path_prefix: path below which the app is mounted, with a slash at both ends.
        profile_tools: what tries a file that is sent to the Intake screen; None: no form for it.
        make_desk: gives the desk at which decisions are seen and made; None: none are kept.
    Returns: the app, warmed up, ready for a WSGI server (app.server).
    Note: Dash keeps its pages for the whole process, so a process has one app; making another
        replaces the pages of the first.
    """
    dash.page_registry.clear()
    app = Dash(
        NAME,
        assets_folder=str(Path(__file__).parent / "assets"),
        assets_ignore=r"first\.js",
        index_string=INDEX.replace("THEME", f"{path_prefix.rstrip('/')}/assets/first.js"),
        use_pages=True,
        pages_folder="",
        url_base_pathname=path_prefix,
        title=NAME,
        update_title="",
        include_pages_meta=False,
        suppress_callback_exceptions=True,
        health_endpoint=HEALTH,
    )
    app.layout = dash.page_container
    for page in Page:
        dash.register_page(
            f"dashboard.pages.{page.name.lower()}",
            path=page.value,
            title=f"{TITLES[page]} – {NAME}",
            layout=_layout_of(
                page,
                published_source,
                path_prefix,
                can_try=profile_tools is not None,
                make_desk=make_desk,
            ),
        )
    dash.register_page(
        "dashboard.pages.not_found_404",
        path="/not-found",
        title=f"Not found – {NAME}",
        layout=message_screen(
            "There is no such page.",
            "The address may have been cut off or mistyped.",
            prefix=path_prefix,
        ),
    )
    add_downloads(app.server, published_source, prefix=path_prefix)
    if make_desk is not None:
        add_case_pages(app.server, published_source, make_desk, prefix=path_prefix)
    if profile_tools is not None:
        add_try_file(app.server, profile_tools, prefix=path_prefix)
    add_headers(app, app.server)
    _warm_up(app, path_prefix)
    return app


def _layout_of(
    page: Page,
    source: PublishedSource,
    prefix: str,
    *,
    can_try: bool,
    make_desk: MakeDesk | None,
) -> Callable[..., Component]:
    def layout(**query: Any) -> Component:
        return render(page, source, query, prefix=prefix, can_try=can_try, make_desk=make_desk)

    return layout


def render(
    page: Page,
    source: PublishedSource,
    query: dict[str, Any],
    *,
    prefix: str = "/",
    can_try: bool = False,
    make_desk: MakeDesk | None = None,
) -> Component:
    """One screen for one address; what is wrong is said in words on the screen."""
    try:
        published = source()
        selection = read_selection(published, query)
        if selection is None:
            return nothing_published(None, prefix=prefix, can_try=can_try)
        desk = make_desk() if make_desk else None
        return LAYOUTS[page](Context(published, selection, prefix, can_try, desk))
    except UserError as error:
        return nothing_published(error, prefix=prefix, can_try=can_try)
    except Exception:
        # A fault of ours: the log keeps the traceback, the reader gets words instead of a blank.
        LOG.exception("screen %s failed", page.name)
        return message_screen(
            "This screen could not be made.",
            "The fault is ours and is written to the log. Other screens still work.",
            prefix=prefix,
        )


def _warm_up(app: Dash, prefix: str) -> None:
    """One request before the first reader: Dash fills its callback map on the first one, and
    concurrent first requests in a threaded server can find it half filled.
    """
    with app.server.test_client() as client:
        client.get(prefix)


def serve(
    folder: Path,
    *,
    port: int,
    profile_tools: ProfileTools | None = None,
    make_desk: MakeDesk | None = None,
) -> None:
    """Serve a network folder's screens on this machine only, until stopped."""
    source = CurrentSnapshot(folder)
    app = create_app(source, profile_tools=profile_tools, make_desk=make_desk)
    render(Page.MONTH, source, {})
    waitress.serve(
        app.server,
        host=HOST,
        port=port,
        threads=THREADS,
        ident=None,
        # A file that is tried stays in memory; one twice too large is not even taken in.
        inbuf_overflow=2 * MAX_REQUEST_BYTES,
        max_request_body_size=2 * MAX_REQUEST_BYTES,
    )
