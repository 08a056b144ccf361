"""The operator's story: she sees her own trend against peers, and one step to work on."""

from playwright.sync_api import expect

from qa.model.permissions import Role
from tests.browser.conftest import Reader, wait_for_screen
from tests.browser.test_log_in import log_in, visitor

__all__ = ["visitor"]


def test_operator_sees_the_own_trend_and_what_to_work_on(visitor: Reader) -> None:
    page = log_in(visitor, Role.OPERATOR)
    wait_for_screen(page)
    expect(page.locator("#answer")).to_contain_text("of your")
    expect(page.locator("#answer")).to_contain_text("are reliable. One step can make it more.")
    main = page.locator("main")
    expect(main).to_contain_text("Work on steadiness and breath hold")
    expect(main).not_to_contain_text("To decide")

    # The own trend, as picture, sentence and table.
    curve = page.locator("section[aria-labelledby='learning-curve-part']")
    expect(curve.locator("figcaption")).to_contain_text("reliable")
    curve.get_by_text("Table of the learning curve").click()
    assert curve.locator("tbody tr").count() > 1

    # Among peers, who have no names.
    expect(main).to_contain_text("peer 0")
    assert "Operator 01" not in main.inner_text()

    # From a month to the own exams, one exam, and back.
    page.locator(".signals a").first.click()
    page.get_by_role("heading", level=1).get_by_text("Operator 31").wait_for()
    page.locator("tbody a").first.click()
    page.get_by_role("heading", level=1).get_by_text("This exam is").wait_for()
    page.go_back()
    page.go_back()
    page.get_by_role("heading", level=1).get_by_text("of your").wait_for()

    # An exam of somebody else does not exist here.
    page.goto(f"{visitor.server}/exam?exam=00000000cafe")
    page.get_by_role("heading", level=1).get_by_text("There is no such exam here.").wait_for()
