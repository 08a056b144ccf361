"""Packs from the screen: who fetches which, the trail, and tricks with the address."""

import hashlib
import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from urllib.parse import quote

import pytest

from dashboard.addresses import Page
from dashboard.app import create_app, render
from qa.jobs.followup.archive import NetworkArchive
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.users.uses import USE
from qa.model.permissions import Actor
from qa.stores.followup.tables import TRAIL
from qa.stores.pack_archive import archive_pack
from tests.followup.notes import ADMINISTRATOR, AT, MANAGER, NETWORK_TEXT, OPERATOR, REVIEWER
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import HOST, LEAD, OTHER
from tests.pages.test_competence_pages import Room
from tests.pages.walk import text

OCTOBER, MAY = date(2026, 10, 1), date(2026, 5, 1)


class Shelf(Room):
    folder: Path

    def desk(self) -> CaseDesk:
        return CaseDesk(self.store, self.actor, AT, NetworkArchive(self.folder))


def issue(folder: Path, site_id: str, month: date, number: int) -> bytes:
    pdf = f"%PDF-1.7 invented {site_id} {month} {number}".encode()
    manifest = json.dumps({"pdf_sha256": hashlib.sha256(pdf).hexdigest()}).encode()
    archive_pack(folder, month=month, site_id=site_id, number=number, pdf=pdf, manifest=manifest)
    return pdf


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Shelf]:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    (tmp_path / "secret.pdf").write_text("secret", encoding="utf-8")
    for site_id, month, number in (("S3", OCTOBER, 1), ("S3", OCTOBER, 2), ("S3", MAY, 1)):
        issue(tmp_path, site_id, month, number)
    issue(tmp_path, "S1", OCTOBER, 1)
    found = Shelf(open_record(tmp_path, environ={}))
    found.folder = tmp_path
    found.client = create_app(sample_published, make_desk=found.desk).server.test_client()
    yield found
    found.store.close()


def fetch(room: Shelf, site: str = "S3", month: str = "2026-10", number: str = "1"):
    query = f"site={quote(site)}&month={quote(month)}&number={quote(number)}"
    return room.client.get(f"/packs/pack.pdf?{query}", **HOST)


def lines(room: Shelf) -> list[tuple[str, str | None]]:
    with room.store.reading() as reading:
        entries = reading.entries(TRAIL.c.record_class == USE)
        return [(one.by or "", one.record_id) for one in entries]


def test_site_screen_lists_packs_with_month_number_and_time(room: Shelf) -> None:
    room.actor = LEAD
    shown = text(render(Page.SITE, sample_published, {"site": "S3"}, make_desk=room.desk))
    assert "3 packs issued." in shown
    assert shown.index("October 2026, number 2") < shown.index("October 2026, number 1")
    assert shown.index("October 2026, number 1") < shown.index("May 2026, number 1")
    room.actor = OTHER
    shown = text(render(Page.SITE, sample_published, {"site": "S3"}, make_desk=room.desk))
    assert "Audit packs" not in shown


@pytest.mark.parametrize("actor", [MANAGER, LEAD, REVIEWER])
def test_pack_is_fetched_as_issued_and_stands_in_the_trail(room: Shelf, actor: Actor) -> None:
    room.actor = actor
    answer = fetch(room, number="2")
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    assert answer.data == b"%PDF-1.7 invented S3 2026-10-01 2"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="S3-2026-10-2.pdf"'
    assert answer.headers["Cache-Control"] == "no-store"
    assert lines(room) == [(actor.user_id, "S3-2026-10-2")]


@pytest.mark.parametrize("actor", [OTHER, OPERATOR, ADMINISTRATOR, None])
def test_who_may_not_gets_nothing(room: Shelf, actor: Actor | None) -> None:
    room.actor = actor
    answer = fetch(room)
    assert answer.status_code == (404 if actor is OTHER else 403)
    assert b"PDF-1.7" not in answer.data
    assert lines(room) == []


TRICKS = {
    "site": ("../S1", "S3/../S1", "..", "/etc", "S9", "", "*", "S3\x00", "packs", "S3/"),
    "month": ("../2026-10", "2026-10/..", "2026-13", "2026", "", "*", "2026-10\x00"),
    "number": ("0", "3", "-1", "1/../2", "", "*", "1.0", "²", "9" * 400),
}


def test_tricks_with_the_address_find_nothing(room: Shelf) -> None:
    for part, values in TRICKS.items():
        for value in values:
            answer = fetch(room, **{part: value})
            assert answer.status_code in (404, 422), (part, value)
            assert answer.mimetype == "text/html"
            assert b"PDF-1.7" not in answer.data
            assert b"secret" not in answer.data
    assert lines(room) == []


def test_pack_that_was_altered_is_not_handed_out(room: Shelf) -> None:
    (pdf,) = room.folder.glob("packs/2026-05/S3/issue-1/*.pdf")
    pdf.chmod(0o644)
    pdf.write_bytes(b"%PDF-1.7 other")
    answer = fetch(room, month="2026-05")
    assert answer.status_code == 422
    assert "PCK-020" in answer.text
    assert lines(room) == []


def test_link_out_of_the_archive_is_not_followed(room: Shelf) -> None:
    """A pack folder that is a link to another site's still answers to its own manifest only."""
    (room.folder / "packs/2026-05/S2").symlink_to(room.folder / "packs/2026-10/S1")
    answer = fetch(room, site="S2", month="2026-05")
    assert (answer.status_code, b"PDF-1.7" in answer.data) == (404, False)
