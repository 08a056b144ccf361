"""A site lead's story: she finds why her site is on the list, and answers; the manager reads it."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from qa.model.permissions import Role
from tests.browser.conftest import Reader, run_server, wait_for_screen
from tests.browser.test_accessible import hold
from tests.browser.test_log_in import log_in

OTHER_SITE = "Alder Sound"


@pytest.fixture(scope="module")
def fresh_server() -> Iterator[str]:
    """With accounts and an empty record."""
    yield from run_server("--accounts")


@pytest.fixture
def visitor(browser: Browser, fresh_server: str) -> Iterator[Reader]:
    found = Reader(browser, fresh_server)
    yield found
    for page in found.pages:
        page.context.close()
    assert found.faults == []


def go(page: Page, name: str) -> None:
    page.get_by_role("navigation", name="Screens").get_by_role("link", name=name).click()
    wait_for_screen(page)


def find_why(page: Page) -> None:
    """From the own screen to the reasons, and back by the browser."""
    expect(page.locator("#answer")).to_contain_text("One thing needs attention at Eider Point")
    expect(page.locator("section", has=page.locator("#to-decide"))).to_contain_text("Operator 31")
    page.get_by_role("link", name="Why it moved").first.click()
    page.wait_for_url("**/explain**")
    wait_for_screen(page)
    expect(page.locator("#answer")).to_contain_text("too few months to say")
    assert OTHER_SITE not in page.content()
    page.go_back()
    page.wait_for_url("**/site**")
    wait_for_screen(page)


def answer(page: Page) -> None:
    """Open the case, look at its exams, say what was done at once and what the cause is."""
    page.get_by_role("link", name="Decide: open a case").first.click()
    page.get_by_label("A few words that name it").fill("Spread <b>since</b> July")
    page.get_by_label("Who answers for it").fill("Lead of Eider Point (invented)")
    page.get_by_label("By which day").fill("2020-01-01")
    page.get_by_role("button", name="Open", exact=True).click()
    page.get_by_role("heading", level=1).get_by_text("CASE-0001").wait_for()
    page.get_by_role("button", name="List those not reliable behind its items").click()
    ticked = page.get_by_role("checkbox", checked=True)
    expect(ticked.first).to_be_visible()
    page.get_by_label("What happens to them").select_option("stands as reported")
    page.get_by_role("button", name="Decide", exact=True).click()
    page.get_by_label("Done at once").fill("Operator 31 examines with a colleague beside")
    page.get_by_role("button", name="Contained").click()
    page.get_by_label("Where it lies").select_option("technique of the exam")
    page.get_by_label("How it was found").select_option("watched exams being done")
    page.get_by_label("The cause").fill("The breath was not held")
    page.get_by_role("button", name="Record the cause").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("cause found")
    expect(page.get_by_role("button", name="Close as effective")).to_have_count(0)
    expect(page.locator("main")).to_contain_text("Una site lead (invented)")


def note_and_train(page: Page) -> None:
    """What happened goes into the chart, the training into the operator's file."""
    go(page, "Sites")
    page.get_by_role("link", name="Write a note, or take one back").click()
    page.get_by_label("On which day").fill("2026-07-06")
    page.get_by_label("What happened").select_option("new staff")
    page.get_by_label("In words").fill("A beginner <i>began</i>")
    page.get_by_role("button", name="Write it").click()
    page.wait_for_url("**/site?**")
    wait_for_screen(page)
    expect(page.locator(".notes")).to_contain_text("2026-07-06, new staff: A beginner <i>began</i>")
    page.get_by_role("link", name="Operator 31").first.click()
    page.wait_for_url("**/operators**")
    wait_for_screen(page)
    page.get_by_role("link", name="Open the file").click()
    training = page.locator("form#train")
    training.get_by_label("On which day").fill("2026-11-02")
    training.get_by_label("Given by").fill("Reference examiner (invented)")
    training.get_by_label("In words").fill("Breath hold, one morning")
    training.get_by_role("button").click()
    expect(page.get_by_role("group", name="Training")).to_contain_text("Breath hold, one morning")
    assert page.locator("form#authorise").count() == 0
    hold(page)


def test_lead_finds_why_her_site_is_on_the_list_and_answers(visitor: Reader) -> None:
    page = log_in(visitor, Role.SITE_LEAD)
    wait_for_screen(page)
    find_why(page)
    answer(page)
    hold(page)
    note_and_train(page)
    go(page, "Follow-up")
    expect(page.locator("#answer")).to_contain_text("1 case is open, 1 overdue, CASE-0001 first")
    expect(page.get_by_role("group", name="Open cases")).to_contain_text("overdue since 2020-01-01")
    assert OTHER_SITE not in page.content()
    hold(page)
    manager = log_in(visitor, Role.QA_MANAGER, "/follow-up")
    wait_for_screen(manager)
    manager.get_by_role("link", name="CASE-0001").first.click()
    main = manager.locator("main")
    expect(main).to_contain_text("The breath was not held")
    expect(main).to_contain_text("Una site lead (invented)")
    expect(manager.get_by_role("heading", level=1)).to_contain_text("spread <b>since</b> July")
    manager.goto(f"{visitor.server}/follow-up/samples")
    manager.get_by_label("Operator", exact=True).select_option("31")
    manager.get_by_role("button", name="Draw").click()
    reader = manager.get_by_label("Second reader", exact=True)
    reader.select_option(label="Una site lead (invented)")
    manager.get_by_role("button", name="Give out").click()
    expect(manager.get_by_role("group", name="Exams of the sample")).to_contain_text("waits")
    hold(manager)
    page.goto(f"{visitor.server}/follow-up/read")
    expect(page.get_by_role("heading", level=1)).to_contain_text("3 exams wait for your reading.")
