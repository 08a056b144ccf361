"""The trail as a plain page: its lines by who, what and when, for whoever may see them."""

from datetime import UTC, date, datetime, time, timedelta

from flask import Flask, Response, request

from dashboard.addresses import TITLES, Form, Page, address
from dashboard.case_pages import MakeDesk, answer_form
from dashboard.plain import screen_page
from dashboard.source import PublishedSource
from dashboard.who import note_view
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.trail import TrailFilter, list_trail, trail_classes, verify_trail
from qa.jobs.users.opening import names_of_people
from qa.model.errors import FollowupError
from qa.model.published import Published
from qa.views.trail import LINES, trail_view

LONGEST = 200
FIELDS = ("class", "record", "by", "action", "since", "until", "lines")


def add_trail_page(
    server: Flask, source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Its form asks by GET, so each state is a link; who looked is noted."""
    server.add_url_rule(
        prefix.rstrip("/") + Form.TRAIL.value,
        "trail",
        lambda: answer_form(_trail, source, make_desk, prefix=prefix),
        methods=["GET"],
    )


def _trail(desk: CaseDesk, published: Published, prefix: str) -> Response:
    asked = {name: request.args.get(name, "").strip()[:LONGEST] for name in FIELDS}
    message = ""
    try:
        wanted = _filter(asked)
    except FollowupError as problem:
        wanted, message = TrailFilter(), problem.message
    last = int(asked["lines"]) if asked["lines"] in map(str, LINES) else LINES[0]
    lines = list_trail(desk.store, wanted, actor=desk.actor, last=last)
    view = trail_view(
        lines,
        verify_trail(desk.store),
        names=names_of_people(desk.store),
        is_filtered=wanted != TrailFilter(),
        classes=trail_classes(desk.store),
    )
    asked_for = " ".join(f"{name}={value}" for name, value in asked.items() if value)
    note_view(desk, f"{Form.TRAIL.value} {asked_for}".strip(), published)
    return screen_page(
        "trail.html",
        prefix=prefix,
        here=TITLES[Page.RECORD],
        status=422 if message else 200,
        network=published.network.name,
        view=view,
        message=message,
        asked=asked,
        lines=LINES,
        action=address(Form.TRAIL, prefix=prefix),
        back=address(Page.RECORD, prefix=prefix),
    )


def _filter(asked: dict[str, str]) -> TrailFilter:
    """Raises: FollowupError FUP-037 for what is no day."""
    return TrailFilter(
        record_class=asked["class"],
        record_id=asked["record"],
        by=asked["by"],
        action=asked["action"],
        since=_moment(asked["since"], "from the day"),
        until=_moment(asked["until"], "to the day", is_end=True),
    )


def _moment(text: str, where: str, *, is_end: bool = False) -> datetime | None:
    if not text:
        return None
    try:
        start = datetime.combine(date.fromisoformat(text), time.min, UTC)
    except (ValueError, OverflowError):
        raise FollowupError(
            f"'{text[:20]}' is no day",
            where=where,
            expected="a day like 2026-11-25",
            code="FUP-037",
        ) from None
    return start + timedelta(days=1) - timedelta(microseconds=1) if is_end else start
