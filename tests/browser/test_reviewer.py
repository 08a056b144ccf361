"""A reviewer's story on the invented network: what was complied with, then, and how that is known.

What the answers are is planted: the last operator of the fourth site examined between two
authorisations (31 January and 14 April 2025), its device was checked each month, and the signal
that came up in March 2025 was reviewed the month after.
"""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from qa.model.permissions import Role
from tests.browser.conftest import Reader, run_server, wait_for_screen
from tests.browser.test_accessible import hold
from tests.browser.test_log_in import log_in as log_in_quickly

MOST_CLICKS, PATIENCE_MS = 4, 90_000
ASKED = {
    "Operators are competent and authorised": ("not met", "op-16"),
    "Phantom checks are current": ("met", "dev-07"),
    "Signals are decided on": ("met", "The only item of the site was decided on."),
}
CELL = "/record?site=dunlin-quay&month=2025-03&requirement="


@pytest.fixture(scope="module")
def demo_server(published_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The default demo with accounts; a copy, since opening a screen writes a line of the trail."""
    folder = tmp_path_factory.mktemp("reviewed") / "demo"
    bulky = shutil.ignore_patterns("incoming", "warehouse*", "truth*")
    shutil.copytree(published_demo, folder, ignore=bulky)
    yield from run_server("--folder", str(folder))


@pytest.fixture
def visitor(browser: Browser, demo_server: str) -> Iterator[Reader]:
    found = Reader(browser, demo_server)
    yield found
    for page in found.pages:
        page.context.close()
    assert found.faults == []


def log_in(visitor: Reader, role: Role, path: str = "/") -> Page:
    """With patience: the demo's screens are large, and tests share their machine."""
    page = log_in_quickly(visitor, role, path)
    page.set_default_timeout(PATIENCE_MS)
    return page


def wait_for_answer(page: Page, words: str) -> None:
    page.wait_for_function(
        "words => document.querySelector('#answer')?.innerText.includes(words)", arg=words
    )


class Clicks:
    """Counts what the reviewer does; choosing from a list is one."""

    def __init__(self, page: Page) -> None:
        self.page, self.n = page, 0

    def link(self, name: str) -> None:
        self.page.get_by_role("link", name=name, exact=True).first.click()
        self.n += 1


def test_reviewer_answers_a_past_months_question_in_under_five_clicks(visitor: Reader) -> None:
    page = log_in(visitor, Role.REVIEWER)
    wait_for_screen(page)
    clicks = Clicks(page)
    clicks.link("Record")
    wait_for_answer(page, "Alder Sound")
    clicks.link("Dunlin Quay")
    wait_for_answer(page, "Dunlin Quay")
    page.locator("#month-choice").select_option(label="March 2025")
    page.get_by_role("button", name="Show").first.click()
    clicks.n += 2
    wait_for_answer(page, "in March 2025")
    for title, (answer, found) in ASKED.items():
        line = page.locator(".verdicts > li").filter(has_text=title)
        expect(line.locator(".state-word")).to_have_text(answer)
        expect(line).to_contain_text(found)
    assert clicks.n <= MOST_CLICKS
    expect(page.locator("main")).to_contain_text("The trail is whole")


@pytest.mark.parametrize(
    ("title", "evidence", "shows"),
    [
        ("Operators are competent and authorised", "op-16", "from 2023-11-01 to 2025-01-31"),
        ("Phantom checks are current", "dev-07", "dev-07, standard probe on PH-SOFT"),
        ("Signals are decided on", "reviewed by demo-manager on 2025-04-09", "Dunlin Quay"),
        ("Rules in force are approved", "common-practice.v1", "is in force."),
        ("Nothing was rewritten", "Walked", "The trail is whole"),
    ],
)
def test_evidence_opens_in_two_clicks(
    visitor: Reader, title: str, evidence: str, shows: str
) -> None:
    page = log_in(visitor, Role.REVIEWER, "/record?site=dunlin-quay&month=2025-03")
    page.locator(".verdicts").get_by_role("link", name=title, exact=True).click()
    page.wait_for_selector("#evidence")
    section = page.locator("section[aria-labelledby=evidence]")
    expect(section).to_contain_text("Rule in force then")
    section.get_by_role("link").filter(has_text=evidence).first.click()
    page.wait_for_url(lambda url: "requirement=" not in url)
    page.wait_for_function(
        "words => document.querySelector('main')?.innerText.includes(words)", arg=shows
    )
    page.go_back()
    page.wait_for_selector("#evidence")
    expect(page.locator("#evidence")).to_contain_text(title)


def test_reviewer_finds_no_form_that_changes_anything(visitor: Reader) -> None:
    page = log_in(visitor, Role.REVIEWER, f"{CELL}REQ-017")
    page.wait_for_selector("#evidence")
    expect(page.get_by_role("link", name="Sign for it")).to_have_count(0)
    root = page.url.split("/record")[0]
    for path in ("document?document=common-practice.v1", "statement?statement=SIGN-0001"):
        page.goto(f"{root}/record/{path}")
        expect(page.locator("main form")).to_have_count(0)
    page.goto(f"{root}/record/trail?class=statement")
    expect(page.locator("main form[method=post]")).to_have_count(0)
    expect(page.locator("table.trail tbody tr").first).to_contain_text("SIGN-")


def test_record_and_its_plain_pages_are_accessible(visitor: Reader) -> None:
    page = log_in(visitor, Role.QA_MANAGER, f"{CELL}REQ-017")
    root = page.url.split("/record")[0]
    wait_for_screen(page)
    page.wait_for_selector("#evidence")
    hold(page)
    for path in (
        "sign?site=dunlin-quay&requirement=REQ-017",
        "statement?statement=SIGN-0001",
        "document?document=common-practice.v1",
        "trail?class=document",
    ):
        page.goto(f"{root}/record/{path}")
        hold(page)
    page.set_viewport_size({"width": 360, "height": 900})
    for path in (f"{CELL}REQ-010", "/record/trail"):
        page.goto(root + path)
        page.wait_for_selector("#answer")
        width = page.evaluate("() => document.documentElement.scrollWidth")
        assert width <= 360, path


def test_manager_signs_and_sees_the_answer_turn_met_now_and_not_then(visitor: Reader) -> None:
    page = log_in(visitor, Role.QA_MANAGER, f"{CELL}REQ-017")
    page.get_by_role("link", name="Sign for it").click()
    page.get_by_label("The requirement is").select_option("met")
    page.get_by_label("What was found").fill("Round of spring 2025, report on file")
    page.get_by_label("From the month").select_option("2025-03")
    page.get_by_label("Until the day").fill("2025-12-31")
    page.get_by_role("button", name="Sign", exact=True).click()
    page.wait_for_url("**known=now**")
    wait_for_answer(page, "in March 2025")
    root = page.url.split("/record")[0]
    for known, answer in (("&known=now", "met"), ("", "no evidence")):
        page.goto(f"{root}{CELL}REQ-017{known}")
        page.wait_for_selector("#evidence")
        line = page.locator(".verdicts > li").filter(has_text="Results are compared")
        expect(line.locator(".state-word")).to_have_text(answer)
