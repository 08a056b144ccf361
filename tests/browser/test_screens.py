"""Every screen in a real browser: wide, narrow, light and dark, without a fault in the console."""

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import Reader

SCREENS = {
    "month": "/",
    "sites": "/site",
    "site": "/site?site=S3",
    "late site": "/site?site=S6",
    "operators": "/operators",
    "operator": "/operators?operator=31",
    "grades": "/grades",
    "intake": "/intake",
    "intake of a site": "/intake?site=S2",
    "try a file": "/intake/try",
    "methods": "/methods",
    "unknown": "/site?site=S99&month=2020-01",
    "not found": "/nowhere",
}
ANSWERS = {
    "month": "One thing needs you in October 2026; nothing new at five of six sites.",
    "sites": "One of six sites needs a look",
    "site": "One thing needs attention at Eider Point",
    "late site": "Merlin Court has sent no exams",
    "operators": "One of thirteen operators needs something",
    "operator": "Operator 31:",
    "grades": "The stiffness mix",
    "intake": "October 2026 is in from five of six sites",
    "intake of a site": "Bracken Hill:",
    "try a file": "What would come of this file?",
    "methods": "Every figure comes from",
    "unknown": "One of six sites needs a look",
    "not found": "There is no such page.",
}
FIRST_VIEW_BYTES = 5_200_000


def width_left_over(page: Page) -> int:
    """Pixels by which the page is wider than the window."""
    return page.evaluate(
        "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )


def background(page: Page) -> str:
    return page.evaluate("() => getComputedStyle(document.body).backgroundColor")


@pytest.mark.parametrize("name", SCREENS)
def test_screen_answers_and_fits_wide_and_narrow_light_and_dark(reader: Reader, name: str):
    page = reader.open(SCREENS[name])
    assert page.locator("h1").inner_text().startswith(ANSWERS[name])
    assert page.locator("main").count() == 1
    assert page.evaluate("() => document.documentElement.lang") == "en"
    assert page.locator("#caution").is_visible()
    assert (width_left_over(page), background(page)) == (0, "rgb(251, 250, 246)")
    page.set_viewport_size({"width": 360, "height": 800})
    page.emulate_media(color_scheme="dark")
    page.wait_for_function("() => document.documentElement.clientWidth === 360")
    assert (width_left_over(page), background(page)) == (0, "rgb(20, 24, 29)")


def test_screen_opened_narrow_and_dark_draws_charts_in_dark_colours(reader: Reader):
    page = reader.open("/operators?operator=31", width=360, is_dark=True)
    fills = page.evaluate(
        "() => [...document.querySelectorAll('.point')].map(one => getComputedStyle(one).fill)"
    )
    assert "rgb(240, 140, 192)" in fills
    assert "rgb(138, 31, 92)" not in fills
    assert width_left_over(page) == 0


def test_screen_first_view_stays_light(reader: Reader):
    """Uncompressed bytes of all answers of a first visit to Month."""
    page = reader.open("/", is_ready=False)
    sizes: list[int] = []
    page.on("response", lambda answer: sizes.append(len(answer.body())))
    page.reload(wait_until="networkidle")
    page.wait_for_selector(".main-svg")
    assert 1_000_000 < sum(sizes) <= FIRST_VIEW_BYTES


def test_screen_loads_the_small_chart_bundle_only(reader: Reader):
    page = reader.open("/", is_ready=False)
    fetched: list[str] = []
    page.on("request", lambda request: fetched.append(request.url))
    page.reload(wait_until="networkidle")
    assert any("plotly-cartesian" in url for url in fetched)
    assert not any("async-plotlyjs" in url or "package_data/plotly" in url for url in fetched)


def test_screen_with_nothing_published_says_what_to_run(browser, empty_server: str):
    found = Reader(browser, empty_server)
    page = found.open("/")
    assert page.locator("h1").inner_text() == "Nothing is published yet."
    assert "elastoqa refresh" in page.locator("main").inner_text()
    page.context.close()
    assert found.faults == []
