"""States that no page draws itself: loading, failed, stale, and what was typed before a reload."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Route, expect

from qa.model.permissions import Role
from tests.browser.conftest import Reader, wait_for_screen
from tests.browser.test_log_in import log_in, visitor

__all__ = ["visitor"]
UPDATE = "**/_dash-update-component**"
SNAPSHOT = "S20261103T073000Z-sample00"


@pytest.fixture
def lenient(browser: Browser, server: str) -> Iterator[Reader]:
    """The console may complain of requests that the test itself broke."""
    found = Reader(browser, server)
    yield found
    for page in found.pages:
        page.context.close()
    assert not [one for one in found.faults if "elsewhere" in one]


def test_slow_screen_says_that_it_is_loading(reader: Reader):
    page = reader.open("/site")

    def wait(route: Route) -> None:
        page.wait_for_timeout(900)
        route.continue_()

    page.route(UPDATE, wait)
    page.click("#screens >> text=Grades")
    expect(page.get_by_role("status").filter(has_text="Loading…")).to_be_visible()
    page.get_by_role("heading", level=1).get_by_text("The stiffness mix").wait_for()
    expect(page.locator("#state")).to_have_text("")


def test_screen_that_does_not_come_says_so_and_can_be_tried_again(lenient: Reader):
    page = lenient.open("/site")
    page.route(UPDATE, lambda route: route.abort())
    page.click("#screens >> text=Grades")
    expect(page.locator("#state")).to_contain_text("This screen did not come.")
    expect(page.locator("#answer")).to_contain_text("One of six sites")
    page.unroute(UPDATE)
    page.get_by_role("button", name="Try again").click()
    page.get_by_role("heading", level=1).get_by_text("The stiffness mix").wait_for()


def test_server_fault_is_said(lenient: Reader):
    page = lenient.open("/site")
    page.route(UPDATE, lambda route: route.fulfill(status=500, body="no"))
    page.click("#screens >> text=Grades")
    expect(page.locator("#state")).to_contain_text("This screen did not come.")


@pytest.mark.parametrize(("newest", "said"), [(SNAPSHOT, False), ("S20261203T0-newer", True)])
def test_newer_snapshot_is_named_and_shown_when_asked(reader: Reader, newest: str, said: bool):
    page = reader.open("/site", is_ready=False)
    page.route("**/published", lambda route: route.fulfill(body=newest))
    page.reload()
    wait_for_screen(page)
    with page.expect_response("**/published"):
        page.evaluate("() => window.dispatchEvent(new Event('pageshow'))")
    page.wait_for_timeout(150)
    assert ("Newer figures were published" in page.locator("#state").inner_text()) == said
    if said:
        page.unroute("**/published")
        page.get_by_role("button", name="Show them").click()
        wait_for_screen(page)
        expect(page.locator("#state")).to_have_text("")


def test_what_was_typed_is_there_after_a_reload(visitor: Reader):
    page = log_in(visitor, Role.QA_MANAGER, "/?month=2026-09")
    wait_for_screen(page)
    page.get_by_text("Close the month…").click()
    page.locator("#close-words").fill("Half a sentence")
    page.reload()
    wait_for_screen(page)
    expect(page.locator("#close-words")).to_have_value("Half a sentence")
    expect(page.locator("#close-words")).to_be_visible()


def test_screen_without_permission_says_which_may_be_opened(visitor: Reader):
    page = log_in(visitor, Role.OPERATOR)
    page.goto(f"{visitor.server}/devices")
    page.wait_for_selector("#answer")
    expect(page.locator("#answer")).to_have_text("This account may not open this screen.")
    expect(page.locator("main")).to_contain_text("It may open: Operators, Methods")
