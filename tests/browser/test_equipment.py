"""Devices and Rounds in a real browser: drawn wide and narrow, linked, and masked for a lead."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from qa.model.permissions import Role
from tests.browser.conftest import Reader, wait_for_screen
from tests.browser.test_log_in import log_in
from tests.browser.test_screens import width_left_over

DRAWN = {
    "/devices": ("D6 is out of limits on a phantom.", ["check-chart"]),
    "/rounds?round=ROUND-0002": (
        "D4, ",
        ["score-chart", "scores-over-rounds"],
    ),
}


@pytest.fixture(scope="module")
def readers(browser: Browser, guarded_server: str) -> Iterator[Reader]:
    found = Reader(browser, guarded_server)
    yield found
    for page in found.pages:
        page.context.close()
    assert found.faults == []


@pytest.fixture(scope="module")
def manager(readers: Reader) -> Page:
    return log_in(readers, Role.QA_MANAGER)


def go(page: Page, path: str) -> None:
    page.goto("/".join(page.url.split("/")[:3]) + path)
    wait_for_screen(page)


@pytest.mark.parametrize("path", DRAWN)
def test_screen_answers_draws_and_fits(manager: Page, path: str) -> None:
    answer, charts = DRAWN[path]
    manager.set_viewport_size({"width": 1280, "height": 900})
    go(manager, path)
    expect(manager.locator("#answer")).to_contain_text(answer)
    for chart in charts:
        expect(manager.locator(f"#{chart} .main-svg").first).to_be_visible()
    assert width_left_over(manager) == 0
    manager.set_viewport_size({"width": 360, "height": 800})
    manager.wait_for_function("() => document.documentElement.clientWidth === 360")
    assert width_left_over(manager) == 0
    manager.set_viewport_size({"width": 1280, "height": 900})


def test_a_score_leads_to_the_devices_of_its_site_and_back(manager: Page) -> None:
    go(manager, "/rounds?round=ROUND-0002")
    manager.get_by_role("link", name="Devices of its site").first.click()
    manager.wait_for_url("**/devices?*site=S4*")
    expect(manager.locator("#answer")).not_to_contain_text("round")
    manager.go_back()
    expect(manager.locator("#answer")).to_contain_text("Spring round")


def test_lead_sees_her_own_participant_by_name_only(readers: Reader) -> None:
    page = log_in(readers, Role.SITE_LEAD)
    go(page, "/rounds?round=ROUND-0002")
    said = page.locator("main").inner_text()
    assert "participant 4 is out" in said
    assert "D3, Eider Point" in said
    assert not any(name in said for name in ("D1", "D2,", "D4", "D5", "D6"))
    go(page, "/devices")
    said = page.locator("main").inner_text()
    assert "D3, standard, PH-SOFT" in said
    assert not any(name in said for name in ("D1,", "D2,", "D4,", "D6,"))
