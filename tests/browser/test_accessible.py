"""Plain pages and screens with forms, held against WCAG 2.2 AA by axe-core, light and dark.

Source: axe-core's rules for WCAG 2.0, 2.1 and 2.2, levels A and AA (bundled by
axe-playwright-python); WCAG 2.2, 2.1.1 (keyboard) and 2.4.7 (focus visible) for the button.
"""

from collections.abc import Iterator
from importlib.resources import files

import pytest
from playwright.sync_api import Browser, Page, expect

from qa.model.permissions import Role
from tests.access.people import PASSWORD, email_of
from tests.browser.conftest import Reader, wait_for_screen

AXE = files("axe_playwright_python").joinpath("axe.min.js")
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PLAIN = {
    Role.QA_MANAGER: [
        "/account",
        "/follow-up/open",
        "/follow-up/read",
        "/follow-up/samples",
        "/follow-up/note?kind=site&unit=S3",
        "/operators/file?operator=31",
        "/devices/enter",
        "/rounds/enter",
        "/intake/try",
    ],
    Role.ADMINISTRATOR: ["/users"],
}
FIGURES = ["/", "/operators?operator=31", "/exams?site=S3&measure=MSR-001", "/exam?exam=none"]
SCREENS = [
    "/follow-up",
    "/devices",
    "/devices?site=S3",
    "/rounds",
    "/rounds?round=ROUND-0002",
    "/grades",
    "/grades?site=S3",
    "/explain?site=S3",
    "/site?site=S3",
    "/intake",
    "/methods",
    "/pack?kind=site&site=S3",
    *FIGURES,
]


@pytest.fixture(scope="module")
def people(browser: Browser, guarded_server: str) -> Iterator[dict[Role, Page]]:
    """A page for each role, logged in once; the console is held at the end."""
    visitor = Reader(browser, guarded_server)
    found = {}
    for role in PLAIN:
        page = visitor.open("/log-in", is_ready=False)
        page.fill("#email", email_of(role))
        page.fill("#password", PASSWORD)
        page.click("main button >> nth=0")
        page.wait_for_url(lambda url: "/log-in" not in url)
        found[role] = page
    yield found
    for page in visitor.pages:
        page.context.close()
    assert visitor.faults == []


def root_of(page: Page) -> str:
    """The server's address without a path."""
    return "/".join(page.url.split("/")[:3])


def complaints(page: Page) -> list[str]:
    """What axe finds in the page as it stands: rule and elements."""
    if not page.evaluate("() => Boolean(window.axe)"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate(
        "levels => axe.run({runOnly: levels, resultTypes: ['violations']})", LEVELS
    )
    return [
        f"{one['id']}: {[node['html'][:120] for node in one['nodes']][:3]}"
        for one in found["violations"]
    ]


def hold(page: Page) -> None:
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
        assert complaints(page) == [], (page.url, scheme)


@pytest.mark.parametrize(
    ("role", "path"), [(role, path) for role, paths in PLAIN.items() for path in paths]
)
def test_plain_page_is_accessible(people: dict[Role, Page], role: Role, path: str) -> None:
    page = people[role]
    page.goto(root_of(page) + path)
    hold(page)


@pytest.mark.parametrize("path", SCREENS)
def test_screen_with_decisions_is_accessible(people: dict[Role, Page], path: str) -> None:
    page = people[Role.QA_MANAGER]
    page.goto(root_of(page) + path)
    wait_for_screen(page)
    hold(page)


def test_month_with_its_forms_open_and_one_exam_are_accessible(people: dict[Role, Page]) -> None:
    page = people[Role.QA_MANAGER]
    root = root_of(page)
    page.goto(f"{root}/exams?site=S3&measure=MSR-001")
    wait_for_screen(page)
    page.locator("tbody a").first.click()
    page.get_by_role("heading", level=1).get_by_text("This exam is").wait_for()
    hold(page)
    page.goto(root + "/?month=2026-09")
    wait_for_screen(page)
    page.evaluate("() => document.querySelectorAll('details').forEach(one => { one.open = true; })")
    hold(page)
    page.set_viewport_size({"width": 320, "height": 800})
    page.wait_for_function("() => document.documentElement.clientWidth === 320")
    assert page.evaluate("() => document.documentElement.scrollWidth") == 320
    page.set_viewport_size({"width": 1280, "height": 900})


def test_case_and_its_refused_form_are_accessible(people: dict[Role, Page]) -> None:
    page = people[Role.QA_MANAGER]
    root = root_of(page)
    page.goto(root + "/follow-up/open")
    page.fill("[name=title]", "Wide spread at Eider Point")
    page.fill("[name=why]", "Three months above the limit.")
    page.fill("[name=owner]", "Quality board")
    page.fill("[name=due_on]", "2027-01-15")
    page.click("main form button >> nth=0")
    page.wait_for_url("**/follow-up/case**")
    hold(page)


def test_log_in_link_and_user_are_accessible(browser: Browser, people: dict[Role, Page]) -> None:
    page = people[Role.ADMINISTRATOR]
    root = root_of(page)
    page.goto(root + "/users")
    page.fill("#name", "Ida Vale")
    page.fill("#email", "ida@clinic.invalid")
    page.get_by_label("reviewer").check()
    page.click("text=Invite >> nth=-1")
    hold(page)
    link = page.locator("code.one-line").inner_text()
    page.get_by_role("link", name="Ida Vale").click()
    hold(page)
    visitor = Reader(browser, root)
    for path in ("/log-in", link.removeprefix(root), "/link/gone"):
        hold(visitor.open(path))
    for other in visitor.pages:
        other.context.close()
    assert [one for one in visitor.faults if "404" not in one] == []


def test_plain_page_turns_dark_by_its_button_and_stays_so(people: dict[Role, Page]) -> None:
    page = people[Role.ADMINISTRATOR]
    root = root_of(page)
    page.emulate_media(color_scheme="light")
    for path, colour in (("/account", "rgb(20, 24, 29)"), ("/users", "rgb(20, 24, 29)")):
        page.goto(root + path)
        button = page.get_by_role("button", name="Light / dark")
        if path == "/account":
            button.focus()
            page.keyboard.press("Enter")
        expect(page.locator("body")).to_have_css("background-color", colour)
    button.click()
    expect(page.locator("body")).to_have_css("background-color", "rgb(251, 250, 246)")
