"""An attack list: nothing gets through. The tries stand in tests/access/attack_list.py."""

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from argon2 import PasswordHasher
from werkzeug.test import TestResponse

from dashboard.access import SESSION, Access
from dashboard.addresses import Download
from dashboard.app import create_app
from dashboard.downloads import download
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import command_actor, open_record
from qa.jobs.followup.trail import verify_trail
from qa.jobs.try_file import FileTrial
from qa.jobs.users.accounts import Accounts, Grant
from qa.jobs.users.log_in import FrontDoor
from qa.jobs.users.passwords import Passwords
from qa.model.permissions import Role
from qa.stores.followup import accounts as rows
from tests.access.attack_list import CONFUSABLES, REDIRECTS, SCRIPT, TRIES, Try
from tests.access.people import (
    AT,
    BASE,
    GRANTS,
    HTML,
    PASSWORD,
    QUICK,
    Browser,
    email_of,
    make_account,
    quick_door,
)
from tests.access.test_seen import FOREIGN
from tests.followup.notes import NETWORK_TEXT
from tests.pages.sample_published import sample_published

FOLDER = Path(__file__).parent.parent / "bad_exports" / "network"
LEAKS = re.compile(r"Traceback|site-packages|File \"|sqlite|sqlalchemy|werkzeug", re.I)


@dataclass
class Ground:
    """One app with one person of each role logged in; made once, attacked by all."""

    door: FrontDoor
    app: object
    now: list[datetime]
    browsers: dict[Role | None, Browser] = field(default_factory=dict)
    number: int = 0

    def stranger(self) -> Browser:
        """A browser at an address of its own, so that throttling does not join the tries."""
        self.number += 1
        client = self.app.server.test_client()  # type: ignore[attr-defined]
        client.environ_base["REMOTE_ADDR"] = f"127.0.{self.number // 250}.{self.number % 250 + 2}"
        browser = Browser(client)
        browser.get("/log-in")
        return browser

    def send(self, one: Try) -> TestResponse:
        browser = self.browsers[one.who] if one.who else self.stranger()
        for name, value in one.cookies.items():
            browser.client.set_cookie(name, value, domain="127.0.0.1")
        token = browser.cookie("_csrf_token") if one.token is None else one.token
        options: dict = {"method": one.method, "base_url": BASE}
        options["headers"] = {**HTML, "X-CSRFToken": token, **one.headers}
        if one.data is not None:
            options["data"] = one.data
        elif one.method == "POST" and one.form is None:
            options["json"] = one.json
        elif one.form is not None:
            options["data"] = one.form
        return browser.client.open(one.path, **options)


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ground]:
    folder = tmp_path_factory.mktemp("ground")
    (folder / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    store, now = open_record(folder, environ={}), [AT]
    door, network = quick_door(store), sample_published().network
    for role, grant in GRANTS.items():
        make_account(door, network, grant, email=email_of(role), name=f"Person {role} (invented)")
    made = Ground(door, None, now)
    made.app = create_app(
        sample_published,
        profile_tools=FileTrial(FOLDER, find_key=lambda: bytes(32), now=lambda: AT),
        make_desk=lambda: CaseDesk(store, command_actor("server"), now[0]),
        access=Access(door, lambda: network, lambda: now[0]),
    )
    for role in Role:
        made.browsers[role] = made.stranger()
        assert made.browsers[role].log_in(email_of(role)).status_code == 303
    yield made
    store.close()


def what_is_kept(door: FrontDoor) -> object:
    """Accounts and records, which no try may change."""
    with door.store.reading() as reading:
        kinds = {one.record_class for one in reading.entries()} - {"log-in", "use"}
        changes = [row for row in reading.entries() if row.record_class in kinds]
        return rows.all_accounts(reading), len(changes)


def test_the_list_is_long_enough_and_names_differ() -> None:
    names = [one.name for one in TRIES]
    assert len(names) == len(set(names))
    assert len(names) >= 60


@pytest.mark.filterwarnings("ignore:The 'elastoqa_session' cookie is too large")
@pytest.mark.parametrize("one", TRIES, ids=lambda one: one.name)
def test_try_comes_to_nothing(ground: Ground, one: Try) -> None:
    before = what_is_kept(ground.door)
    with ground.send(one) as answer:
        assert answer.status_code in one.want
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
        assert "unsafe-eval" not in answer.headers["Content-Security-Policy"]
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert "X-Evil" not in answer.headers
        to = answer.headers.get("Location", "/")
        assert re.match(r"/(?![/\\])", to)
        assert "\n" not in to
        if answer.mimetype == "text/html":
            assert "<script>alert" not in answer.text
            assert "max-age" not in answer.headers.get("Cache-Control", "")
        body = "" if "javascript" in answer.mimetype else answer.text
        said = body.replace("site 'S2'", "").replace("operator '21'", "")
        assert not LEAKS.search(said)
        assert not [word for word in one.absent if word in body]
        if one.who in (Role.SITE_LEAD, Role.OPERATOR, None):
            assert not FOREIGN.search(re.sub(r'"/[^"]*"|\?[^"]*', "", said)), one.path
    assert what_is_kept(ground.door) == before


@pytest.mark.parametrize("onward", REDIRECTS)
def test_log_in_leads_nowhere_else(ground: Ground, onward: str) -> None:
    """Where it goes on to has this app's host for a browser; WHATWG URL: \\ counts as /."""
    browser = ground.stranger()
    to = browser.log_in(email_of(Role.REVIEWER), onward=onward).headers["Location"]
    assert re.fullmatch(r"/(?![/\\])[^\\\s]*", to)


@pytest.mark.parametrize("email", CONFUSABLES)
def test_letters_that_look_alike_find_nobody(ground: Ground, email: str) -> None:
    assert ground.stranger().log_in(email).status_code == 403


@pytest.mark.parametrize("field", ["name", "email", "role", "site", "operator"])
def test_script_in_a_field_of_users_stays_text(ground: Ground, field: str) -> None:
    sent = {"name": "Ann", "email": "ann@y.invalid", "role": "reviewer", field: SCRIPT}
    if field == "name":
        sent["email"] = "no e-mail"
    answer = ground.browsers[Role.ADMINISTRATOR].post("/users", **sent)
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text
    assert "<img src=x" not in answer.text


@pytest.mark.parametrize(
    "field", ["title", "owner", "due_on", "why", "site_id", "item", "what", "seen"]
)
def test_script_in_a_field_of_a_case_stays_text(ground: Ground, field: str) -> None:
    sent = {"what": "open", "title": "x", "owner": "", "due_on": "", field: SCRIPT}
    answer = ground.browsers[Role.QA_MANAGER].post("/follow-up/open", **sent)
    assert answer.status_code in (404, 422)
    assert "<script>alert" not in answer.text
    assert "<img src=x" not in answer.text


def test_link_works_once_and_dies_with_a_newer_one(ground: Ground) -> None:
    desk = Accounts(ground.door.store, command_actor("tester"), AT)
    network = sample_published().network
    account, first = desk.invite(
        email="ida@y.invalid", name="Ida", grant=Grant((Role.REVIEWER,)), network=network
    )
    again = {"password": PASSWORD, "password_again": PASSWORD}
    assert ground.stranger().post(f"/link/{first}", token="0" * 64, **again).status_code == 400
    for _ in range(2):  # Looking does not use it up.
        assert ground.stranger().get(f"/link/{first}").status_code == 200
    assert ground.stranger().post(f"/link/{first}", **again).status_code == 200
    assert ground.stranger().post(f"/link/{first}", **again).status_code == 404
    _, second = desk.reset(account.user_id)
    _, third = desk.reset(account.user_id)
    assert ground.stranger().get(f"/link/{second}").status_code == 404
    assert ground.stranger().get(f"/link/{third}x").status_code == 404
    desk.disable(account.user_id)
    assert ground.stranger().post(f"/link/{third}", **again).status_code == 404


def test_nobody_learns_who_has_an_account(ground: Ground) -> None:
    """Unknown, invited and known e-mails: the same status, words, size and work (a hash each)."""
    desk = Accounts(ground.door.store, command_actor("tester"), AT)
    desk.invite(
        email="invited@y.invalid",
        name="Ivo",
        grant=Grant((Role.REVIEWER,)),
        network=sample_published().network,
    )
    checked: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, hash: str | bytes, password: str | bytes) -> bool:
            checked.append(str(hash)[:20])
            return super().verify(hash, password)

    door = FrontDoor(ground.door.store, ground.door.settings, Passwords(Counting(1, 8, 1)))
    said = set()
    for email in ("nobody@y.invalid", "invited@y.invalid", email_of(Role.OPERATOR)):
        answer = ground.stranger().log_in(email, "wrong wrong wrong")
        said.add((answer.status_code, re.sub(r'value="[^"]*"', "", answer.text)))
        with pytest.raises(Exception, match="do not fit"):
            door.log_in(email, "wrong wrong wrong", client=email, at=AT)
    assert len(said) == 1
    assert len(checked) == 3


def test_throttling_is_not_fooled_by_headers_or_new_browsers(ground: Ground) -> None:
    email = email_of(Role.REVIEWER)
    codes = []
    for number in range(6):
        browser = ground.stranger()
        told = {"X-Forwarded-For": f"10.0.0.{number}", "Accept": "text/html"}
        sent = {"csrf_token": browser.cookie("_csrf_token"), "email": email, "password": "x"}
        codes.append(
            browser.client.post("/log-in", data=sent, headers=told, base_url=BASE).status_code
        )
    assert codes == [403] * 5 + [429]
    assert ground.stranger().log_in(email.upper()).status_code == 429
    ground.now[0] += timedelta(minutes=16)
    assert ground.stranger().log_in(email).status_code == 303
    ground.now[0] = AT


def test_session_that_was_planted_is_not_taken_over(ground: Ground) -> None:
    thief = ground.stranger()
    planted = "p" * 43
    thief.client.set_cookie(SESSION, planted, domain="127.0.0.1")
    thief.log_in(email_of(Role.OPERATOR))
    assert thief.cookie(SESSION) != planted
    other = ground.stranger()
    other.client.set_cookie(SESSION, planted, domain="127.0.0.1")
    assert other.get("/account").status_code == 302


def test_hash_or_form_token_is_no_session(ground: Ground) -> None:
    """Whoever reads the store or a page holds nothing that logs in."""
    with ground.door.store.reading() as reading:
        kept = list(reading.connection.exec_driver_sql("select session_hash from sessions"))
    forged = [kept[0][0], ground.browsers[Role.ADMINISTRATOR].cookie("_csrf_token")]
    for value in forged:
        browser = ground.stranger()
        browser.client.set_cookie(SESSION, value, domain="127.0.0.1")
        assert browser.get("/users").status_code == 302


def bomb() -> bytes:
    """A workbook of 60 kB whose sheet has 60 MB."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("[Content_Types].xml", "<Types/>")
        made.writestr("xl/workbook.xml", "<workbook/>")
        made.writestr("xl/worksheets/sheet1.xml", b" " * 60_000_000)
    return target.getvalue()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("../../etc/cron.d/x.csv", b"a;b\n1;2\n"),
        ("C:\\x\\..\\evil.csv", b"a;b\n1;2\n"),
        ("x.csv\r\nX-Evil: 1", b"a;b\n1;2\n"),
        (f"{SCRIPT}.csv", b"a;b\n1;2\n"),
        ("null\x00.csv", b"\x00" * 5_000),
        ("bomb.xlsx", None),
        ("entities.xml", b"<!DOCTYPE x [<!ENTITY a SYSTEM 'file:///etc/passwd'>]><x>&a;</x>"),
        ("script.csv", f"{SCRIPT};b\n{SCRIPT};2\n".encode()),
    ],
    ids=lambda value: value.splitlines()[0][:20] if isinstance(value, str) else "",
)
def test_file_that_is_tried_does_no_harm(ground: Ground, name: str, content: bytes | None) -> None:
    browser = ground.browsers[Role.QA_MANAGER]
    file = (io.BytesIO(bomb() if content is None else content), name)
    answer = browser.post("/intake/try", what="suggest", site="", file=file)
    assert answer.status_code in (200, 400, 413, 422)
    for word in ("<script>alert", "<img src=x", "root:", "cron.d/x", "Traceback"):
        assert word not in answer.text
    assert "X-Evil" not in answer.headers


@pytest.mark.parametrize("start", ["=cmd|' /C calc'!A0", "+1+1", "-1+1", "@SUM(1)", "\t=1", "\r=1"])
def test_formula_in_a_name_is_text_in_every_file(start: str) -> None:
    """Source: OWASP, CSV Injection: cells that begin with = + - @ tab or carriage return."""
    whole = sample_published()
    signals = whole.frame("signals")
    text = [name for name in ("finding", "evidence", "suggestion") if name in signals.columns]

    evil = whole.with_frame(
        "signals", signals.with_columns(pl.lit(start).alias(one) for one in text)
    )
    texts = []
    for where in Download:
        answer = download(where, lambda: evil, {"site": "S3", "operator": "31"})
        texts.append(answer.get_data(as_text=True))
        assert not re.search(rf'(^|,)"?{re.escape(start)}', texts[-1], re.MULTILINE), where
    assert f"'{start}" in "".join(texts)


def test_trail_is_whole_after_all_of_it(ground: Ground) -> None:
    assert verify_trail(ground.door.store).is_whole
    with ground.door.store.reading() as reading:
        told = [f"{row.record_id}{row.before}{row.after}" for row in reading.entries()]
    assert all(one.replace("\n", "").isprintable() for one in told)
    assert QUICK.time_cost == 1
