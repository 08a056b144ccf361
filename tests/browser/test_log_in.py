"""Logging in with a real browser: Dash's own requests carry the form's token, pages show a part."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from qa.model.permissions import Role
from tests.access.people import PASSWORD, email_of
from tests.browser.conftest import Reader, wait_for_screen


@pytest.fixture
def visitor(browser: Browser, guarded_server: str) -> Iterator[Reader]:
    found = Reader(browser, guarded_server)
    yield found
    for page in found.pages:
        page.context.close()
    assert found.faults == []


def log_in(visitor: Reader, role: Role, path: str = "/", **options: object) -> Page:
    page = visitor.open(path, is_ready=False, **options)  # type: ignore[arg-type]
    page.fill("#email", email_of(role))
    page.fill("#password", PASSWORD)
    page.click("main button >> nth=0")
    page.wait_for_url(lambda url: "/log-in" not in url)
    page.wait_for_selector("#answer")
    return page


def menu(page: Page) -> list[str]:
    return page.locator("#screens li").all_inner_texts()


def test_lead_comes_to_the_own_site_and_sees_nobody_elses_name(visitor: Reader) -> None:
    page = log_in(visitor, Role.SITE_LEAD)
    wait_for_screen(page)
    assert page.url.endswith("/site")
    expect(page.locator("#answer")).to_contain_text("Eider Point")
    screens = ["Sites", "Operators", "Grades", "Devices", "Rounds", "Follow-up", "Record"]
    assert menu(page) == [*screens, "Intake", "Methods"]
    page.click("#screens >> text=Operators")
    page.wait_for_url("**/operators**")
    wait_for_screen(page)
    expect(page.locator("body")).to_contain_text("Peer site 0")
    assert "Alder Sound" not in page.content()


def test_operator_comes_to_the_own_charts(visitor: Reader) -> None:
    page = log_in(visitor, Role.OPERATOR, width=360)
    wait_for_screen(page)
    expect(page.locator("#answer")).to_contain_text("your 54 exams")
    assert menu(page) == ["Operators", "Methods"]


def test_address_is_kept_over_the_log_in_and_log_out_shuts_it(visitor: Reader) -> None:
    page = log_in(visitor, Role.QA_MANAGER, "/site?site=S3&month=2026-09")
    wait_for_screen(page)
    expect(page.locator("#answer")).to_contain_text("September 2026")
    page.click("#person")
    page.click("text=Log out >> nth=1")
    expect(page.locator("#answer")).to_have_text("You are logged out.")
    page.goto(visitor.server + "/site?site=S3")
    expect(page.locator("#answer")).to_have_text("Log in")


def test_old_page_goes_to_the_log_in_when_its_session_is_over(visitor: Reader) -> None:
    page = log_in(visitor, Role.REVIEWER)
    wait_for_screen(page)
    page.context.clear_cookies(name="elastoqa_session")
    page.click("#screens >> text=Grades")
    expect(page.locator("#answer")).to_have_text("Log in")
    visitor.faults = [one for one in visitor.faults if "401" not in one]


def test_administrator_invites_and_the_link_sets_a_password(visitor: Reader) -> None:
    page = log_in(visitor, Role.ADMINISTRATOR)
    page.fill("#name", "Ines Vale")
    page.fill("#email", "ines@clinic.invalid")
    page.get_by_label("reviewer").check()
    page.click("text=Invite >> nth=-1")
    link = page.locator("code.one-line").inner_text()
    other = visitor.open(link.removeprefix(visitor.server))
    other.fill("#password", PASSWORD)
    other.fill("#again", PASSWORD)
    other.click("text=Set password")
    expect(other.locator("#answer")).to_have_text("Your password is set. Log in with it.")
