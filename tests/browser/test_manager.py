"""The QA manager's story: she decides a month from its first line to its closing, by keyboard."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from qa.model.permissions import Role
from tests.browser.conftest import Reader, run_server, wait_for_screen
from tests.browser.test_log_in import log_in


@pytest.fixture(scope="module")
def own_server() -> Iterator[str]:
    """What is decided here is not to be seen by other tests."""
    yield from run_server("--accounts")


@pytest.fixture
def visitor(browser: Browser, own_server: str) -> Iterator[Reader]:
    found = Reader(browser, own_server)
    yield found
    for page in found.pages:
        page.context.close()
    assert found.faults == []


def answer(page: Page) -> str:
    wait_for_screen(page)
    return page.locator("#answer").inner_text()


def focused(page: Page) -> str:
    return page.evaluate("() => document.activeElement.id || document.activeElement.name || ''")


def press(page: Page, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)


def test_manager_decides_a_month_from_start_to_end(visitor: Reader) -> None:
    page = log_in(visitor, Role.QA_MANAGER)
    assert answer(page).startswith("One thing needs you in October 2026; nothing new at five of")
    review = page.locator("section[aria-labelledby='review']")
    expect(review).to_contain_text("One item waits for a decision.")

    # By keyboard: from the line in the overview to the item, and the form that the key opens.
    page.get_by_role("link", name="Operator 31 (Eider Point): unreliable").first.focus()
    press(page, "Enter")
    page.wait_for_function("() => document.activeElement.id === 'item-1'")
    assert page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle") == "solid"
    press(page, "l")
    assert focused(page) == "look-1"
    page.keyboard.type("New probe since July, two exams watched")
    press(page, "Tab", "Enter")
    page.get_by_text("To be looked at again next month: New probe since July").wait_for()
    assert answer(page).startswith("Everything of October 2026 is decided")
    page.wait_for_function("() => document.activeElement.id === 'item-1'")

    press(page, "u")
    press(page, "Tab", "Enter")
    page.get_by_text("One item waits for a decision.").wait_for()

    page.get_by_text("Not pursue…").click()
    page.get_by_label("Why it is not pursued").fill("Known: <b>trainee</b> weeks")
    page.get_by_role("button", name="Do not pursue it").click()
    page.get_by_text("Reviewed and not pursued: Known: <b>trainee</b> weeks (Una QA").wait_for()
    page.get_by_text("Undo", exact=True).click()
    page.get_by_role("button", name="Take it back").click()
    page.get_by_text("One item waits for a decision.").wait_for()

    # Closing now would leave it open, and says so.
    page.get_by_text("Close the month…").click()
    expect(review).to_contain_text("Still undecided, and named in the record if you close now (1):")
    expect(review).to_contain_text("Operator 31 (Eider Point): unreliable exams")

    page.wait_for_selector("#item-1")
    page.locator("details[data-decide='open'] summary").click()
    expect(page.get_by_label("A few words that name it")).to_have_value(
        "Operator 31 (Eider Point): unreliable exams"
    )
    page.get_by_role("button", name="Open the case").click()
    page.get_by_role("link", name="CASE-0001: open.").wait_for()
    page.get_by_text("Close the month…").click()
    page.get_by_role("button", name="Close the month").click()
    expect(page.locator("section[aria-labelledby='review']")).to_contain_text(
        "The review of October 2026 was closed by Una QA manager (invented)"
    )
    page.reload()
    wait_for_screen(page)
    expect(page.locator("section[aria-labelledby='review']")).to_contain_text("was closed by Una")
    page.get_by_text("Reopen…").click()
    page.get_by_label("Why it is opened again").fill("Her file came")
    page.get_by_role("button", name="Reopen the month").click()
    expect(page.get_by_text("Close the month…")).to_be_visible()


def test_reader_of_a_month_sees_decisions_and_no_forms(visitor: Reader) -> None:
    page = log_in(visitor, Role.REVIEWER)
    wait_for_screen(page)
    assert page.locator("section[aria-labelledby='review'] progress").count() == 1
    assert page.locator("form.decide").count() == 0
    assert page.locator(".keys-told").count() == 0
