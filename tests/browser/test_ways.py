"""Ways through the screens: links, selects, keyboard, theme, back and reload, CSV."""

import csv
from pathlib import Path

import pytest

from tests.browser.conftest import Reader, wait_for_screen


def chart_colours(page) -> set[str]:
    """Fill of every point of every chart."""
    script = "() => [...document.querySelectorAll('.point')].map(one => getComputedStyle(one).fill)"
    return set(page.evaluate(script))


def test_evidence_link_leads_to_the_operator_and_back_again(reader: Reader):
    page = reader.open("/")
    page.get_by_role("link", name="Operator 31 (Eider Point) on Operators").click()
    page.get_by_role("heading", level=1).get_by_text("Operator 31").wait_for()
    assert "operator=31" in page.url
    assert page.evaluate("() => document.activeElement.id") == "answer"
    page.go_back()
    page.get_by_role("heading", level=1).get_by_text("One thing needs you").wait_for()


def test_figure_leads_to_its_exams_one_exam_and_back(reader: Reader):
    page = reader.open("/site?site=S3")
    page.locator("#figures a", has_text="exams").nth(1).click()
    page.get_by_role("heading", level=1).get_by_text(
        "exams count for “unreliable exams”"
    ).wait_for()
    page.get_by_role("link", name="only those that count").click()
    page.wait_for_url("**part=counted**")
    page.locator("tbody a").first.click()
    page.get_by_role("heading", level=1).get_by_text("This exam is unreliable").wait_for()
    for told in ("s3-2026-10.csv, row", "not kept", "Common practice, version 2"):
        assert told in page.locator("main").inner_text()
    page.reload()
    page.get_by_role("heading", level=1).get_by_text("This exam is unreliable").wait_for()
    page.go_back()
    page.go_back()
    page.go_back()
    page.get_by_role("heading", level=1).get_by_text("Eider Point").wait_for()


def test_point_of_a_chart_is_told_on_focus_and_leads_to_its_exams(reader: Reader):
    page = reader.open("/operators?operator=31&measure=MSR-001")
    named = page.locator(".signals a").first
    assert not named.locator(".told").is_visible()
    named.focus()
    assert "RUL-0" in named.locator(".told").inner_text()
    page.locator("figure .hoverlayer text", has_text="Oct 26").first.wait_for()
    box = page.locator("figure[data-exams] .points path").last.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.get_by_role("heading", level=1).get_by_text("Operator 31, October 2026").wait_for()


def test_reload_shows_the_same_state(reader: Reader):
    page = reader.open("/site?site=S4&month=2026-08&measure=MSR-003")
    before = page.locator("h1").inner_text()
    assert "Gannet Lane" in before
    page.reload()
    wait_for_screen(page)
    assert page.locator("h1").inner_text() == before


def test_heat_mark_leads_to_the_chart_behind_it(reader: Reader):
    page = reader.open("/")
    page.locator("a.cell-look").first.click()
    page.get_by_role("heading", level=2, name="Preparation recorded", exact=True).wait_for()
    assert "site=S2" in page.url


def test_month_select_by_keyboard_goes_only_when_asked(reader: Reader):
    page = reader.open("/")
    page.locator("#month-choice").focus()
    page.keyboard.press("ArrowDown")
    assert "month=" not in page.url
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=1).get_by_text("September 2026").wait_for()
    assert "month=2026-09" in page.url
    assert page.locator("#month-choice option:checked").inner_text() == "September 2026"


def test_month_select_button_shows_the_month(reader: Reader):
    page = reader.open("/grades")
    page.locator("#month-choice").select_option("August 2026")
    page.locator("header").get_by_role("button", name="Show").click()
    page.get_by_role("heading", level=1).get_by_text("August 2026").wait_for()


def test_skip_link_is_first_and_leads_past_the_header(reader: Reader):
    page = reader.open("/")
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.querySelector('main').contains(document.activeElement)")


def test_theme_button_recolours_page_and_charts_and_is_kept(reader: Reader):
    page = reader.open("/")
    assert "rgb(138, 31, 92)" in chart_colours(page)
    page.get_by_role("button", name="Light / dark").click()
    page.wait_for_function(
        "() => getComputedStyle(document.body).backgroundColor === 'rgb(20, 24, 29)'"
    )
    page.wait_for_function(
        "() => [...document.querySelectorAll('.point')]"
        ".some(one => getComputedStyle(one).fill === 'rgb(240, 140, 192)')"
    )
    assert "rgb(138, 31, 92)" not in chart_colours(page)
    page.reload()
    wait_for_screen(page)
    assert "rgb(240, 140, 192)" in chart_colours(page)


def test_methods_link_opens_at_the_rule(reader: Reader):
    page = reader.open("/")
    page.get_by_role("link", name="RUL-001").first.click()
    page.get_by_role("heading", level=1).get_by_text("Every figure").wait_for()
    page.wait_for_function(
        "() => Math.abs(document.getElementById('RUL-001').getBoundingClientRect().top) < 300"
    )


def test_table_of_a_chart_opens_with_n_and_interval(reader: Reader):
    page = reader.open("/operators?operator=31")
    page.get_by_text("Table and how this chart is made").first.click()
    table = page.locator("details[open] table").first
    assert table.locator("tbody tr").count() == 24
    assert "to" in table.locator("tbody td").nth(1).inner_text()


@pytest.mark.parametrize(("button", "begins"), [("PNG", b"\x89PNG\r\n\x1a\n"), ("SVG", b"<svg ")])
def test_chart_is_saved_as_a_picture_with_its_finding(reader: Reader, button: str, begins: bytes):
    page = reader.open("/site?site=S3&measure=MSR-001")
    figure = page.locator("#chart-site-S3-MSR-001").locator("xpath=ancestor::figure")
    with page.expect_download() as found:
        figure.get_by_role("button", name=button).click()
    assert found.value.suggested_filename == f"chart-site-S3-MSR-001.{button.lower()}"
    content = Path(found.value.path()).read_bytes()
    assert content.startswith(begins)
    assert len(content) > 5_000
    if button == "SVG":
        said = content.decode()
        assert figure.locator("figcaption").inner_text()[:30] in said
        assert "sample00" in said


def test_link_of_what_is_on_screen_opens_the_same(reader: Reader):
    page = reader.open("/site?site=S3&measure=MSR-003&period=12")
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy link").first.click()
    page.get_by_text("Link copied.").wait_for()
    link = page.evaluate("() => navigator.clipboard.readText()")
    assert "site=S3&measure=MSR-003&period=12#chart" in link
    other = reader.open(link.removeprefix(reader.server))
    assert other.locator("#chart").inner_text() == page.locator("#chart").inner_text()


def test_csv_link_gives_a_file_of_the_same_rows(reader: Reader):
    page = reader.open("/operators")
    with page.expect_download() as found:
        page.get_by_role("link", name="CSV").first.click()
    assert found.value.suggested_filename == "operators-2026-10.csv"
    with open(found.value.path(), newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    shown = page.locator("section[aria-labelledby='operator-table'] tbody tr").count()
    assert len(rows) == shown == 13


def test_print_hides_choices_and_keeps_the_answer(reader: Reader):
    page = reader.open("/", is_dark=True)
    page.emulate_media(media="print")
    assert not page.locator("header nav").is_visible()
    assert page.locator("h1").is_visible()
    assert page.evaluate("() => getComputedStyle(document.body).color") == "rgb(0, 0, 0)"


def test_printed_charts_fit_the_paper_and_come_back(reader: Reader):
    """A4 less margins is 718 CSS pixels wide at 96 dpi."""
    page = reader.open("/site?site=S3")
    widths = "() => [...document.querySelectorAll('.main-svg')].map(one => one.clientWidth)"
    before = page.evaluate(widths)
    assert max(before) > 718
    page.wait_for_timeout(1_000)  # A chart just drawn is fitted to the screen once more.
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    page.wait_for_function(f"() => Math.max(...({widths})()) <= 718")
    page.evaluate("() => window.dispatchEvent(new Event('afterprint'))")
    page.wait_for_timeout(300)
    assert page.evaluate(widths) == before


def test_reduced_motion_has_no_transition(reader: Reader):
    page = reader.open("/")
    page.emulate_media(reduced_motion="reduce")
    seconds = "() => getComputedStyle(document.querySelector('a')).transitionDuration"
    assert page.evaluate(seconds) == "0s"
