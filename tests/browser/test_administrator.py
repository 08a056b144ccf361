"""An administrator's story: she adds a user, who comes in, and maps a file never seen before.

Every state is held against WCAG 2.2 AA (tests/browser/test_accessible.py); a request to elsewhere
and an error of the console fail the test (tests/browser/conftest.py).
"""

import csv
import io
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from qa.model.permissions import Role
from tests.access.people import PASSWORD
from tests.browser.conftest import Reader, wait_for_screen
from tests.browser.test_accessible import hold
from tests.browser.test_log_in import log_in as log_in_as
from tests.browser.test_log_in import menu
from tests.browser.test_screens import width_left_over

GOOD = Path(__file__).parent.parent / "bad_exports" / "good.csv"
NAME, EMAIL = "Bo Farrow (invented)", "bo@clinic.invalid"
BY_HAND = {
    '# "S" = ?': '"S" = "standard" #',
    '"Presses",': "#",
    "[columns.exam_id]": '[columns.n_attempted]\nheadings = ["Presses"]\n[columns.exam_id]',
}
"""What the proposal leaves to a person: the probe that S means, and a column not placed."""


@pytest.fixture
def visitor(browser: Browser, guarded_server: str) -> Iterator[Reader]:
    found = Reader(browser, guarded_server)
    yield found
    for page in found.pages:
        page.context.close()
    assert found.faults == []


def new_export() -> bytes:
    """The good export under headings of another clinic, with a row of an operator nobody named."""
    rows = list(csv.reader(io.StringIO(GOOD.read_text(encoding="utf-8"))))
    rows[0][rows[0].index("Attempted")] = "Presses"
    broken = ["E-3", *rows[1][1:]]
    broken[rows[0].index("Operator")] = "Z"
    written = io.StringIO()
    csv.writer(written).writerows([*rows, broken])
    return written.getvalue().encode()


def try_it(page: Page, button: str) -> None:
    file = {"name": "october.csv", "mimeType": "text/csv", "buffer": new_export()}
    page.get_by_label("Export, up to 20 MB").set_input_files(file)  # type: ignore[arg-type]
    page.get_by_label("Site that sent it").select_option("harbour")
    with page.expect_navigation():
        page.get_by_role("button", name=button).click()
    hold(page)


def invite(page: Page) -> str:
    """Add a reviewer; the link that is shown once."""
    expect(page.locator("#answer")).to_contain_text("have an account")
    page.get_by_label("Name", exact=True).fill(NAME)
    page.get_by_label("E-mail").fill(EMAIL)
    page.get_by_label("reviewer").check()
    page.get_by_role("button", name="Invite").click()
    expect(page.get_by_role("status")).to_have_text(f"{NAME} is invited.")
    hold(page)
    return page.locator("code.one-line").inner_text()


def come_in(visitor: Reader, link: str) -> None:
    """The new user sets a password, logs in by it and reads; the link works no second time."""
    page = visitor.open(link.removeprefix(visitor.server))
    expect(page.locator("#answer")).to_have_text(f"Set your password, {NAME}")
    hold(page)
    page.get_by_label("New password").fill(PASSWORD)
    page.get_by_label("The same again").fill(PASSWORD)
    page.get_by_role("button", name="Set password").click()
    expect(page.locator("#answer")).to_have_text("Your password is set. Log in with it.")
    hold(page)
    page.get_by_role("main").get_by_role("link", name="Log in").click()
    page.get_by_label("E-mail").fill(EMAIL)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    wait_for_screen(page)
    assert "Month" in menu(page)
    assert "Users" not in menu(page)
    assert page.context.request.get(link).status == 404


def map_the_file(page: Page) -> None:
    """Propose, leave one column to a person, mend it by hand, and see what would come of it."""
    try_it(page, "Propose a profile")
    field = page.get_by_label("The proposed profile")
    assert page.get_by_role("heading", name="To be decided").is_visible()
    assert page.get_by_role("row", name="exam_id Exam sure").is_visible()
    assert page.get_by_role("row", name="not placed Presses").is_visible()
    assert page.get_by_role("row", name="left outside Name").is_visible()
    text = field.input_value()
    for left_open, mended in BY_HAND.items():
        assert left_open in text
        text = text.replace(left_open, mended, 1)
    field.fill(text)
    try_it(page, "See what the profile makes of it")
    expect(page.locator("#answer")).to_contain_text("2 rows would enter and 1 would wait.")
    waiting = page.get_by_role("group", name="Why rows would wait")
    expect(waiting.locator("tbody tr")).to_have_count(1)
    expect(waiting).to_contain_text("operator")
    preview = page.get_by_role("group", name="The first rows as they would enter")
    for shown in ("n_attempted", "harbour-a", "9.2"):
        expect(preview).to_contain_text(shown)
    assert "Quillfeather" not in page.content()


def save_the_profile(page: Page) -> None:
    """The mended profile comes down as it stands in the field."""
    with page.expect_download() as found:
        page.get_by_role("button", name="Save this profile as a file").click()
    assert found.value.suggested_filename == "plain.v2.toml"
    saved = tomllib.loads(Path(found.value.path()).read_text(encoding="utf-8"))
    assert saved["columns"]["probe"]["codes"] == {"S": "standard"}
    assert saved["columns"]["n_attempted"]["headings"] == ["Presses"]


def test_administrator_adds_a_user_and_maps_a_file(visitor: Reader) -> None:
    page = log_in_as(visitor, Role.ADMINISTRATOR)
    hold(page)
    come_in(visitor, invite(page))
    page.get_by_role("link", name="Intake").click()
    wait_for_screen(page)
    assert menu(page) == ["Intake", "Methods", "Users"]
    expect(page.locator("table.months tbody tr")).to_have_count(6)
    hold(page)
    with page.expect_download() as sheet:
        page.get_by_role("link", name="Return sheet of all sites as CSV").click()
    assert sheet.value.suggested_filename.startswith("return-sheet-")
    page.get_by_role("link", name="Try a file").click()
    expect(page.locator("#answer")).to_have_text("What would come of this file?")
    hold(page)
    map_the_file(page)
    save_the_profile(page)
    page.set_viewport_size({"width": 360, "height": 800})
    assert width_left_over(page) == 0
    page.get_by_role("link", name="Users").click()
    row = page.get_by_role("row", name=NAME)
    expect(row).to_contain_text("active")
    assert width_left_over(page) == 0
