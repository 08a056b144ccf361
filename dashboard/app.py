"""The dashboard: screens over a published snapshot. Reads only; nothing here can change it."""

import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import dash
from dash import Dash
from dash.development.base_component import Component

from dashboard.access import Access, add_guard, note_by, scoped_desk, scoped_source
from dashboard.account_pages import add_account_pages
from dashboard.addresses import HEALTH, TITLES, Page
from dashboard.callbacks import add_callback_check
from dashboard.case_pages import MakeDesk, add_case_pages
from dashboard.components.shell import message_screen, nothing_published
from dashboard.downloads import add_downloads
from dashboard.equipment_pages import add_equipment_pages
from dashboard.fast_json import write_answers_fast
from dashboard.faults import add_faults
from dashboard.index import INDEX
from dashboard.integrity_pages import add_integrity_pages
from dashboard.logs import add_request_log
from dashboard.month_pages import add_month_pages
from dashboard.note_pages import add_note_pages
from dashboard.operator_pages import add_operator_pages
from dashboard.pack_pages import add_pack_pages
from dashboard.pages import (
    devices,
    exam,
    exams,
    explain,
    followup,
    grades,
    intake,
    methods,
    month,
    operators,
    pack,
    record,
    rounds,
    site,
)
from dashboard.plain import PREFIX, STAMP
from dashboard.reading_pages import add_reading_pages
from dashboard.record_pages import add_record_pages
from dashboard.rules import NAMES_OPERATORS, PAGE_RULES, manages_users, pages_of
from dashboard.safety import add_headers
from dashboard.sample_pages import add_sample_pages
from dashboard.selection import Context, narrowed, read_selection
from dashboard.serving import serve
from dashboard.signing_pages import add_signing_pages
from dashboard.source import CurrentSnapshot, PublishedSource
from dashboard.trail_page import add_trail_page
from dashboard.try_file import ProfileTools, add_try_file
from dashboard.user_pages import add_user_pages
from dashboard.who import current_viewer
from qa.jobs.users.log_in import Viewer
from qa.jobs.users.uses import VIEWED
from qa.model.errors import UserError
from qa.model.permissions import Permission

LOG = logging.getLogger("elastoqa.dashboard")
NAME = "Elastography QA"

LAYOUTS: dict[Page, Callable[[Context], Component]] = {
    Page.MONTH: month.layout,
    Page.SITE: site.layout,
    Page.OPERATORS: operators.layout,
    Page.GRADES: grades.layout,
    Page.DEVICES: devices.layout,
    Page.ROUNDS: rounds.layout,
    Page.EXPLAIN: explain.layout,
    Page.PACK: pack.layout,
    Page.FOLLOWUP: followup.layout,
    Page.RECORD: record.layout,
    Page.INTAKE: intake.layout,
    Page.METHODS: methods.layout,
    Page.EXAMS: exams.layout,
    Page.EXAM: exam.layout,
}


def create_app(
    published_source: PublishedSource,
    *,
    path_prefix: str = "/",
    profile_tools: ProfileTools | None = None,
    make_desk: MakeDesk | None = None,
    access: Access | None = None,
) -> Dash:
    """The app over a source of snapshots.

    Args:
        published_source: called for every page; gives the snapshot in force.
        path_prefix: path below which the app is mounted, with a slash at both ends.
        profile_tools: what tries a file that is sent to the Intake screen; None: no form for it.
        make_desk: gives the desk at which decisions are seen and made; None: none are kept.
        access: accounts; None, or while there are none: everything is open, to this machine only.
    Returns: the app, warmed up, ready for a WSGI server (app.server).
    Note: Dash keeps one set of pages a process; another app replaces those of the first.
    """
    dash.page_registry.clear()
    write_answers_fast()
    app = Dash(
        NAME,
        assets_folder=str(Path(__file__).parent / "assets"),
        assets_ignore=r"first\.js",
        index_string=INDEX.replace("THEME", f"{path_prefix.rstrip('/')}/assets/first.js?m={STAMP}"),
        use_pages=True,
        pages_folder="",
        url_base_pathname=path_prefix,
        title=NAME,
        update_title="",
        include_pages_meta=False,
        suppress_callback_exceptions=True,
        health_endpoint=HEALTH,
    )
    app.server.config[PREFIX] = path_prefix
    add_request_log(app.server)
    add_guard(app.server, access, prefix=path_prefix)
    add_callback_check(app)
    add_faults(app.server)
    app.layout = dash.page_container
    source = scoped_source(published_source, access)
    desk = scoped_desk(make_desk, access) if make_desk else None
    for page in Page:
        dash.register_page(
            f"dashboard.pages.{page.name.lower()}",
            path=page.value,
            title=f"{TITLES[page]} – {NAME}",
            layout=_layout_of(
                page,
                source,
                path_prefix,
                can_try=profile_tools is not None,
                make_desk=desk,
                access=access,
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
    add_downloads(app.server, source, prefix=path_prefix, access=access, make_desk=desk)
    if desk is not None:
        add_case_pages(app.server, source, desk, prefix=path_prefix)
        add_month_pages(app.server, source, desk, prefix=path_prefix)
        add_equipment_pages(app.server, source, desk, prefix=path_prefix)
        add_reading_pages(app.server, source, desk, prefix=path_prefix)
        add_operator_pages(app.server, source, desk, prefix=path_prefix)
        add_note_pages(app.server, source, desk, prefix=path_prefix)
        add_pack_pages(app.server, source, desk, prefix=path_prefix)
        add_signing_pages(app.server, source, desk, prefix=path_prefix)
        add_sample_pages(app.server, source, desk, prefix=path_prefix)
        add_integrity_pages(app.server, source, desk, prefix=path_prefix)
        add_record_pages(app.server, source, desk, prefix=path_prefix)
        add_trail_page(app.server, source, desk, prefix=path_prefix)
    if access is not None:
        add_account_pages(app.server, access, prefix=path_prefix)
        add_user_pages(app.server, access, prefix=path_prefix)
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
    access: Access | None,
) -> Callable[..., Component]:
    def layout(**query: Any) -> Component:
        viewer = current_viewer()
        shown = render(
            page,
            source,
            query,
            prefix=prefix,
            can_try=can_try,
            make_desk=make_desk,
            viewer=viewer,
        )
        if viewer and page in NAMES_OPERATORS and PAGE_RULES[page].allows(viewer.actor):
            words = " ".join([page.value, *(f"{key}={value}" for key, value in query.items())])
            note_by(access, VIEWED, words, snapshot_id=_snapshot_id(source))
        return shown

    return layout


def _snapshot_id(source: PublishedSource) -> str:
    try:
        return source().snapshot_id
    except UserError:
        return "no snapshot"


def _not_allowed(prefix: str, viewer: Viewer) -> Component:
    others = [TITLES[page] for page in pages_of(viewer.actor)]
    return message_screen(
        "This account may not open this screen.",
        f"It may open: {', '.join(others)}." if others else "It may open no screen.",
        prefix=prefix,
    )


def render(
    page: Page,
    source: PublishedSource,
    query: dict[str, Any],
    *,
    prefix: str = "/",
    can_try: bool = False,
    make_desk: MakeDesk | None = None,
    viewer: Viewer | None = None,
) -> Component:
    """One screen for one address; what is wrong is said in words on the screen.

    Args:
        source: gives what the viewer may see.
        viewer: who is logged in; None: no accounts are in use, so everybody may open everything.
    """
    if viewer and not PAGE_RULES[page].allows(viewer.actor):
        return _not_allowed(prefix, viewer)
    can_try = can_try and (viewer is None or bool(viewer.actor.reaches(Permission.TRY_FILE)))
    try:
        published = source()
        selection = read_selection(published, query)
        if selection is None:
            return nothing_published(None, prefix=prefix, can_try=can_try)
        desk = make_desk() if make_desk else None
        if viewer is None:
            return LAYOUTS[page](Context(published, selection, prefix, can_try, desk))
        own = narrowed(selection, page, viewer.actor)
        pages, person = tuple(pages_of(viewer.actor)), viewer.account.name
        has_users = manages_users(viewer.actor)
        return LAYOUTS[page](
            Context(published, own, prefix, can_try, desk, pages, person, has_users)
        )
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


def open_app(
    folder: Path,
    *,
    path_prefix: str,
    profile_tools: ProfileTools,
    make_desk: MakeDesk,
    access: Access,
) -> Dash:
    """The screens of a network folder, with a snapshot opened by this process."""
    source = CurrentSnapshot(folder)
    app = create_app(
        source,
        path_prefix=path_prefix,
        profile_tools=profile_tools,
        make_desk=make_desk,
        access=access,
    )
    render(Page.MONTH, source, {})
    return app


__all__ = ["NAME", "Access", "create_app", "open_app", "render", "serve"]
