"""One story: an item of the month becomes a case, two people work on it, Follow-up tells of it."""

import re

from playwright.sync_api import expect

from qa.model.permissions import Role
from tests.browser.conftest import Reader, wait_for_screen
from tests.browser.test_log_in import log_in, visitor

__all__ = ["visitor"]
ITEM = "2026-07.operator.31.MSR-001.common-practice.v2.higher"


def test_item_becomes_a_case_and_the_second_of_two_is_told(visitor: Reader) -> None:
    page = log_in(visitor, Role.QA_MANAGER)
    wait_for_screen(page)
    page.goto(f"{visitor.server}/follow-up/open?item={ITEM}")
    page.get_by_label("A few words that name it").fill("Spread")
    page.get_by_label("Who answers for it").fill("lena")
    page.get_by_label("By which day").fill("2026-12-01")
    page.get_by_role("button", name="Open", exact=True).click()
    page.get_by_role("heading", level=1).get_by_text(
        re.compile(r"CASE-\d+, spread: open\.")
    ).wait_for()
    other = page.context.new_page()
    other.goto(page.url)
    other.get_by_label("Who answers for it").fill("ben")
    other.get_by_label("By which day").fill("2026-12-05")
    other.get_by_role("button", name="Assign").click()
    expect(other.get_by_role("definition").get_by_text("ben")).to_be_visible()
    page.get_by_label("Who answers for it").fill("ada")
    page.get_by_label("By which day").fill("2026-12-06")
    page.get_by_role("button", name="Assign").click()
    expect(page.get_by_role("alert")).to_contain_text("somebody else changed it")
    expect(page.get_by_label("Who answers for it")).to_have_value("ada")
    visitor.faults[:] = [one for one in visitor.faults if "422" not in one]  # The refusal itself.
    page.get_by_role("link", name="Follow-up").click()
    wait_for_screen(page)
    expect(page.locator("#answer")).to_contain_text(re.compile(r"\d+ cases? (is|are) open"))
    expect(page.get_by_role("group", name="Open cases")).to_contain_text("(ben)")
