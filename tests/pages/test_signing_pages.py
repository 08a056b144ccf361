"""An issued pack in the hands of its site: opened, signed off, and what Month says of it."""

from collections.abc import Iterator
from datetime import date
from functools import partial
from pathlib import Path

import pytest

from dashboard.addresses import Page
from dashboard.app import create_app, render
from qa.followup import pack_records as records
from qa.followup.pack_records import PACK, PackRecord
from qa.jobs.followup.opening import change_record, load_record, open_record
from qa.model.delivery import Way
from tests.followup.notes import AT, MANAGER, NETWORK_TEXT, OPERATOR, REVIEWER
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import HOST, LEAD, OTHER, OWN
from tests.pages.test_pack_pages import Shelf, issue
from tests.pages.walk import text

OCTOBER = date(2026, 10, 1)
WHICH = {"site": "S3", "month": "2026-10", "number": "2"}
PACK_ID = "S3-2026-10-2"


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shelf]:
    folder = tmp_path_factory.mktemp("packs")
    (folder / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    for site_id, number in (("S3", 1), ("S3", 2), ("S1", 1)):
        issue(folder, site_id, OCTOBER, number)
    found = Shelf(open_record(folder, environ={}))
    found.folder = folder
    found.client = create_app(sample_published, make_desk=lambda: found.desk()).server.test_client()
    yield found
    found.store.close()


@pytest.fixture
def room(shared: Shelf, tmp_path: Path) -> Iterator[Shelf]:
    """The same screens over a record with nothing in it."""
    (tmp_path / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    shared.store = open_record(tmp_path, environ={})
    shared.actor = LEAD
    yield shared
    shared.store.close()


def get(room: Shelf, **which: str) -> tuple[int, str]:
    answer = room.client.get("/packs/issued", query_string={**WHICH, **which}, **HOST)
    return answer.status_code, answer.get_data(as_text=True)


def post(room: Shelf, comment: str = "", **which: str) -> tuple[int, str]:
    form = {**WHICH, **which, "what": "sign-off", "comment": comment}
    answer = room.client.post("/packs/sign-off", data=form, headers=OWN, **HOST)
    return answer.status_code, answer.get_data(as_text=True)


def record(room: Shelf) -> PackRecord:
    with room.store.reading() as reading:
        return load_record(reading, PACK, PACK_ID)


def month_says(room: Shelf) -> str:
    query = {"month": "2026-10"}
    return text(render(Page.MONTH, sample_published, query, make_desk=room.desk))


def test_the_lead_opens_and_signs_off_with_a_comment(room: Shelf) -> None:
    status, page = get(room)
    assert status == 200
    assert "Nobody has signed it off yet." in page
    assert "/packs/pack.pdf?site=S3&amp;month=2026-10&amp;number=2" in page
    assert record(room).is_opened_by_site
    assert post(room, "We repeat the <training>.")[0] == 303
    assert record(room).comment == "We repeat the <training>."
    _, page = get(room)
    assert "We repeat the &lt;training&gt;." in page
    assert 'name="comment"' not in page
    assert len(record(room).opened) == 1
    status, page = post(room)
    assert status == 422
    assert "PCK-031" in page


def test_an_issue_that_was_replaced_is_not_signed_off(room: Shelf) -> None:
    _, page = get(room, number="1")
    assert "A later issue has taken its place." in page
    assert 'name="comment"' not in page
    status, page = post(room, number="1")
    assert status == 422
    assert "PCK-033" in page


@pytest.mark.parametrize("actor", [MANAGER, REVIEWER])
def test_who_does_not_lead_the_site_reads_and_may_not_sign(room: Shelf, actor: object) -> None:
    room.actor = actor  # type: ignore[assignment]
    status, page = get(room)
    assert status == 200
    assert 'name="comment"' not in page
    assert not record(room).is_read
    assert post(room)[0] == 403


@pytest.mark.parametrize("actor", [OTHER, OPERATOR])
def test_other_sites_and_operators_find_nothing(room: Shelf, actor: object) -> None:
    room.actor = actor  # type: ignore[assignment]
    assert get(room)[0] in (403, 404)
    assert post(room)[0] in (403, 404)
    with room.store.reading() as reading:
        assert reading.events(PACK.name) == []


@pytest.mark.parametrize(
    "which", [{"number": "9"}, {"number": "x"}, {"site": "S9"}, {"month": "May"}, {"site": "../S3"}]
)
def test_an_address_that_fits_no_pack_is_said(room: Shelf, which: dict[str, str]) -> None:
    assert get(room, **which)[0] in (404, 422)


def test_fetching_the_pdf_counts_as_opening(room: Shelf) -> None:
    assert room.client.get("/packs/pack.pdf", query_string=WHICH, **HOST).status_code == 200
    assert record(room).is_opened_by_site


def test_month_tells_the_manager_who_has_not(room: Shelf) -> None:
    room.actor = MANAGER
    shown = month_says(room)
    assert "2 packs of October 2026; 0 are signed off." in shown
    assert ": sent to nobody, opened by nobody" in shown
    with room.store.writing() as writing:
        change = partial(change_record, writing, PACK, PACK_ID, by="program", at=AT)
        change(partial(records.issue, site_id="S3", month="2026-10", number=2, sha256=digest(room)))
        change(partial(records.tell_sent, to="a@x.invalid", way=Way.MAIL, why=""))
        gone = partial(records.tell_failed, to="b@x.invalid", way=Way.MAIL, is_final=True)
        change(partial(gone, why="550 no such mailbox"))
    shown = month_says(room)
    assert "came back from b@x.invalid (550 no such mailbox)" in shown
    assert "not opened by the site" in shown
    room.actor = LEAD
    get(room)
    room.actor = MANAGER
    assert "opened, not signed off" in month_says(room)
    room.actor = LEAD
    post(room)
    room.actor = MANAGER
    assert "2 packs of October 2026; 1 is signed off." in month_says(room)


def digest(room: Shelf) -> str:
    (pack,) = [one for one in room.desk().archive.issued_of("S3") if one.number == 2]  # type: ignore[union-attr]
    return pack.read_digest()
