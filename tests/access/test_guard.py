"""The guard from outside: who gets nothing, forged forms, sessions, ways out of the app."""

from datetime import timedelta

import pytest

from dashboard.access import CSRF, SESSION, safe_next
from qa.jobs.followup.trail import verify_trail
from qa.model.permissions import Role
from tests.access.people import AT, BASE, PASSWORD, SHOW_PAGE, email_of

LEAD = Role.SITE_LEAD


def entries(door) -> list[tuple[str, str]]:
    with door.store.reading() as reading:
        return [(row.action, row.record_id) for row in reading.entries()]


def test_nobody_is_sent_to_the_log_in_and_comes_back(people, make_browser) -> None:
    browser = make_browser()
    sent = browser.get("/site?site=S3&month=2026-10")
    assert (sent.status_code, sent.location) == (
        302,
        "/log-in?next=%2Fsite%3Fsite%3DS3%26month%3D2026-10",
    )
    assert 'value="/site?site=S3&amp;month=2026-10"' in browser.get(sent.location).text
    back = browser.log_in(email_of(LEAD), onward="/site?site=S3&month=2026-10")
    assert (back.status_code, back.location) == (303, "/site?site=S3&month=2026-10")


@pytest.mark.parametrize(
    "path",
    ["/_dash-layout", "/_dash-dependencies", "/nowhere", "/export/exams.csv", "/_reload-hash"],
)
def test_nobody_gets_nothing(people, make_browser, path) -> None:
    answer = make_browser().get(path, Accept="*/*")
    assert (answer.status_code, answer.text) == (401, "Log in first.\n")


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/assets/look.css", 200),
        ("/assets/first.js", 200),
        ("/assets/theme.js", 200),
        ("/assets/choices.js", 401),
        ("/assets/fonts/../choices.js", 401),
        ("/health", 200),
    ],
)
def test_nobody_gets_what_the_log_in_is_drawn_with(people, make_browser, path, status) -> None:
    with make_browser().get(path, Accept="*/*") as answer:
        assert answer.status_code == status


def test_screens_are_open_until_there_is_an_account_and_then_at_once_not(
    door, make_browser, request
) -> None:
    browser = make_browser()
    assert browser.get("/site").status_code == 200
    elsewhere = browser.client.get("/site", base_url="http://qa.example.org")
    assert elsewhere.status_code == 403
    assert browser.get("/log-in").status_code == 404
    request.getfixturevalue("people")
    assert browser.get("/site").status_code == 302


@pytest.mark.parametrize("token", ["", "x", "ä", "0" * 64])
def test_log_in_without_its_own_form_is_refused(people, make_browser, token) -> None:
    browser = make_browser()
    browser.get("/log-in")
    answer = browser.post("/log-in", token=token, email=email_of(LEAD), password=PASSWORD)
    assert answer.status_code == 400
    assert browser.cookie(SESSION) == ""


def test_callback_without_header_or_with_another_sessions_is_refused(browser_of) -> None:
    browser, other = browser_of(LEAD), browser_of(Role.QA_MANAGER)
    body = {"output": SHOW_PAGE, "inputs": []}
    for token in ("", "0" * 64, other.cookie(CSRF)):
        assert browser.post_json("/_dash-update-component", body, token=token).status_code == 400


def test_session_is_a_new_one_after_the_log_in(people, make_browser) -> None:
    browser = make_browser()
    browser.client.set_cookie(SESSION, "planted", domain="127.0.0.1")
    browser.get("/log-in")
    before = browser.cookie(CSRF)
    browser.log_in(email_of(LEAD))
    first = browser.cookie(SESSION)
    assert first not in ("", "planted")
    assert browser.cookie(CSRF) != before
    browser.log_in(email_of(LEAD))
    assert browser.get("/site").status_code == 200


def test_cookies_are_closed_to_scripts_and_other_sites(people, make_browser) -> None:
    browser = make_browser()
    browser.get("/log-in")
    answer = browser.log_in(email_of(LEAD))
    cookies = {one.split("=")[0]: one for one in answer.headers.getlist("Set-Cookie")}
    assert "HttpOnly" in cookies[SESSION]
    assert "SameSite=Lax" in cookies[SESSION]
    assert "SameSite=Strict" in cookies[CSRF]
    assert "HttpOnly" not in cookies[CSRF]


def test_cookie_is_secure_behind_https(people, make_browser) -> None:
    browser = make_browser()
    client, there = browser.client, {"base_url": "https://127.0.0.1:8050"}
    answer = client.get("/log-in", headers={"Accept": "text/html"}, **there)
    assert all("Secure" in one for one in answer.headers.getlist("Set-Cookie"))


def test_session_stolen_by_another_browser_is_worthless(browser_of, make_browser) -> None:
    browser, thief = browser_of(LEAD), make_browser()
    thief.client.set_cookie(SESSION, browser.cookie(SESSION), domain="127.0.0.1")
    assert thief.get("/site").status_code == 200
    assert thief.get("/site", **{"User-Agent": "another"}).status_code == 302


@pytest.mark.parametrize(
    ("idle", "steps", "is_in"),
    [(29, 1, True), (30, 1, False), (29, 24, True), (29, 25, False)],
    ids=["below idle", "idle", "below 12 hours", "12 hours"],
)
def test_session_ends_by_idleness_and_by_age(browser_of, clock, idle, steps, is_in) -> None:
    browser = browser_of(LEAD)
    for step in range(1, steps + 1):
        clock.now = AT + timedelta(minutes=idle * step)
        answer = browser.get("/account")
    assert (answer.status_code == 200) == is_in


def test_log_out_ends_this_session_and_everywhere_all(browser_of) -> None:
    one, two, three = (browser_of(LEAD) for _ in range(3))
    kept = one.cookie(SESSION)
    assert "logged out" in one.post("/log-out").text
    one.client.set_cookie(SESSION, kept, domain="127.0.0.1")
    assert one.get("/account").status_code == 302
    assert two.get("/account").status_code == 200
    two.post("/account", what="everywhere")
    assert three.get("/account").status_code == 302


@pytest.mark.parametrize(
    ("text", "prefix", "to"),
    [
        ("/site?site=S1&month=2026-10", "/", "/site?site=S1&month=2026-10"),
        ("/qa/site", "/qa/", "/qa/site"),
        ("/site", "/qa/", "/qa/"),
        ("", "/", "/"),
        ("//evil.example", "/", "/"),
        ("/\\evil.example", "/", "/"),
        ("\\\\evil.example", "/", "/"),
        ("https://evil.example/", "/", "/"),
        ("javascript:alert(1)", "/", "/"),
        ("/\tevil", "/", "/"),
        ("/x\r\nSet-Cookie: a=b", "/", "/"),
        (" //evil.example", "/", "/"),
    ],
)
def test_safe_next_stays_in_the_app(text, prefix, to) -> None:
    """Source of the tricks: OWASP, Unvalidated Redirects and Forwards Cheat Sheet."""
    assert safe_next(text, prefix=prefix) == to


def test_every_answer_carries_the_headers(browser_of) -> None:
    browser = browser_of(LEAD)
    for path in ("/account", "/site", "/export/exams.csv", "/nowhere/at/all"):
        answer = browser.get(path)
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert answer.headers["Cache-Control"] == "no-store"
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]


def test_large_forms_of_nobody_are_not_read(people, make_browser) -> None:
    browser = make_browser()
    browser.get("/log-in")
    assert browser.post("/log-in", email="x" * 20_000, password="x").status_code == 413


def test_views_exports_and_log_ins_stand_in_the_trail(browser_of, door) -> None:
    browser = browser_of(LEAD)
    browser.post("/log-in", email=email_of(LEAD), password="wrong wrong wrong")
    browser.get("/export/exams.csv?site=S3")
    assert browser.navigate("/site", "?site=S3").status_code == 200
    found = entries(door)[-4:]
    assert [action for action, _ in found] == [
        "logged in",
        "failed to log in",
        "exported",
        "viewed named operators",
    ]
    assert found[2][1] == "/export/exams.csv?site=S3"
    assert found[3][1] == "/site site=S3"
    assert verify_trail(door.store).is_whole


def test_password_that_was_typed_stands_nowhere(people, make_browser, store) -> None:
    make_browser().log_in("typed the secret here", "and another one there")
    with store.reading() as reading:
        rows = repr(list(reading.entries()))
    assert "secret" not in rows
    assert "another one" not in rows


def test_script_in_a_name_stays_text(browser_of) -> None:
    browser = browser_of(Role.ADMINISTRATOR)
    name = '"><script>alert(1)</script>'
    answer = browser.post("/users", name=name, email="x@y.invalid", role="reviewer")
    assert answer.status_code == 200
    assert "<script>alert" not in answer.text
    assert "&lt;script&gt;alert(1)" in answer.text


def test_base_url_of_a_link_is_this_machine(browser_of) -> None:
    answer = browser_of(Role.ADMINISTRATOR).post(
        "/users", name="Ines Vale", email="ines@y.invalid", role="reviewer"
    )
    assert f"{BASE}/link/" in answer.text
