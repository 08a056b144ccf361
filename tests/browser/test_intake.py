"""Intake in a real browser: its links and downloads, and files that are tried through the form."""

import csv
from pathlib import Path

import pytest

from dashboard.try_file import MAX_FILE_BYTES
from tests.browser.conftest import Reader
from tests.browser.test_screens import background, width_left_over

BAD_EXPORTS = Path(__file__).parent.parent / "bad_exports"


def try_file(page, file, button: str, *, site: str = "harbour") -> str:
    """Send a file through the form; the answer's first line."""
    page.get_by_label("Export, up to 20 MB").set_input_files(file)
    page.get_by_label("Site that sent it").select_option(site)
    with page.expect_navigation():
        page.get_by_role("button", name=button).click()
    return page.locator("h1").inner_text()


def test_month_leads_to_the_site_whose_month_is_late(reader: Reader):
    page = reader.open("/")
    page.locator("section[aria-labelledby='intake'] a", has_text="Merlin Court").click()
    page.get_by_role("heading", level=1).get_by_text(
        "Merlin Court: October 2026 is not in"
    ).wait_for()
    assert "/intake?" in page.url
    assert page.locator("table.months .mark-look").count() == 1


def test_site_select_shows_the_site_alone(reader: Reader):
    page = reader.open("/intake")
    assert page.locator("table.months tbody tr").count() == 6
    page.locator("main .choice select").select_option(label="Bracken Hill")
    page.get_by_role("button", name="Show").last.click()
    page.get_by_role("heading", level=1).get_by_text("Bracken Hill").wait_for()
    assert page.locator("table.months tbody tr").count() == 1


def test_return_sheet_is_a_file_of_the_rows_that_wait(reader: Reader):
    page = reader.open("/intake?site=S2")
    with page.expect_download() as found:
        page.get_by_role("link", name="Return sheet of this site as CSV").click()
    assert found.value.suggested_filename == "return-sheet-2026-10.csv"
    with open(found.value.path(), newline="", encoding="utf-8-sig") as file:
        assert [row["Code"] for row in csv.DictReader(file)] == ["CHK-003", "CHK-003"]


def test_good_file_shows_a_preview_wide_and_narrow_light_and_dark(reader: Reader):
    page = reader.open("/intake")
    page.get_by_role("link", name="Try a file").click()
    page.get_by_role("heading", level=1).get_by_text("What would come of this file?").wait_for()
    said = try_file(page, BAD_EXPORTS / "good.csv", "See what its profile makes of it")
    assert said.startswith("By profile plain.v1 ")
    assert said.endswith("rows would enter and none would wait.")
    assert page.get_by_text("No row would wait.").is_visible()
    body = page.locator("body").inner_text()
    assert "exam_key" in body
    assert "Quillfeather" not in body
    assert (width_left_over(page), background(page)) == (0, "rgb(251, 250, 246)")
    page.set_viewport_size({"width": 360, "height": 800})
    page.emulate_media(color_scheme="dark")
    page.wait_for_function("() => document.documentElement.clientWidth === 360")
    assert (width_left_over(page), background(page)) == (0, "rgb(20, 24, 29)")


def test_proposed_profile_stands_there_to_copy(reader: Reader):
    page = reader.open("/intake/try")
    said = try_file(page, BAD_EXPORTS / "good.csv", "Propose a profile")
    assert said.startswith("A profile is proposed from 2 rows")
    assert 'id = "plain"' in page.get_by_label("The proposed profile").input_value()
    assert page.get_by_role("row", name="exam_id Exam sure").is_visible()
    page.set_viewport_size({"width": 360, "height": 800})
    assert width_left_over(page) == 0


def test_proposed_profile_is_mended_in_the_page_and_tried(reader: Reader):
    """What the proposal leaves open is filled in; then the rows would enter."""
    page = reader.open("/intake/try")
    try_file(page, BAD_EXPORTS / "good.csv", "Propose a profile")
    field = page.get_by_label("The proposed profile")
    field.fill(field.input_value().replace('# "S" = ?', '"S" = "standard" #'))
    said = try_file(page, BAD_EXPORTS / "good.csv", "See what the profile makes of it")
    assert said.startswith("By profile plain.v")
    assert page.get_by_text("By the profile that was sent along").is_visible()
    assert '"S" = "standard" #' in page.get_by_label("Profile as text").input_value()
    page.set_viewport_size({"width": 360, "height": 800})
    assert width_left_over(page) == 0


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("binary.csv", bytes(range(256)) * 40, "INT-0"),
        ("<img src=x onerror=alert(1)>.csv", b"\x00\x01\x02" * 99, "<img src=x"),
        ("large.csv", b"x" * (MAX_FILE_BYTES + 100_000), "too large to be tried here"),
    ],
)
def test_file_that_cannot_be_tried_is_answered_in_words(browser, server, name, content, said):
    reader = Reader(browser, server)
    page = reader.open("/intake/try")
    file = {"name": name, "mimeType": "text/csv", "buffer": content}
    answer = try_file(page, file, "See what its profile makes of it")
    assert answer == "This file cannot be tried as it is."
    assert said in page.get_by_role("status").inner_text()
    page.context.close()
    # The browser notes the status of the answer itself (413, 422); nothing else may be there.
    assert all("Failed to load resource" in fault for fault in reader.faults)


def test_form_of_another_origin_is_refused(browser, server):
    """localhost and 127.0.0.1 are two origins for a browser, though one machine."""
    reader = Reader(browser, server)
    elsewhere = server.replace("127.0.0.1", "localhost")
    page = browser.new_page()
    page.goto(elsewhere + "/intake/try")
    answers: list[int] = []
    page.on("response", lambda answer: answers.append(answer.status))
    status = page.evaluate(
        """async (target) => {
            const body = new FormData();
            body.append("what", "check");
            body.append("site", "harbour");
            body.append("file", new Blob(["a;b"]), "a.csv");
            try {
                await fetch(target, {method: "POST", body: body, mode: "no-cors"});
                return "sent";
            } catch (fault) {
                return "blocked";
            }
        }""",
        server + "/intake/try",
    )
    page.context.close()
    assert reader.faults == []
    assert (status, answers) in [("blocked", []), ("sent", [403]), ("blocked", [403])]
