"""Every screen as a plain function: its answer, its cautions, its links, its states."""

from urllib.parse import parse_qs, urlsplit

import pytest

from dashboard import ids
from dashboard.addresses import Download, Page
from dashboard.app import render
from dashboard.selection import read_selection
from qa.model.definitions import CAUTION, GRADE_CAUTION
from qa.model.errors import SnapshotError
from tests.pages.sample_published import empty_published, sample_published
from tests.pages.walk import addresses, components, element, of_kind, text

STATES = [
    (Page.MONTH, {}),
    (Page.MONTH, {"measure": "MSR-003", "period": "36"}),
    (Page.MONTH, {"list": "false-share"}),
    (Page.SITE, {}),
    (Page.SITE, {"site": "S3"}),
    (Page.SITE, {"site": "S3", "measure": "MSR-012"}),
    (Page.SITE, {"site": "S3", "measure": "MSR-001", "draw": "cusum"}),
    (Page.SITE, {"site": "S3", "measure": "MSR-003", "draw": "g"}),
    (Page.OPERATORS, {"operator": "31", "draw": "ewma"}),
    (Page.SITE, {"site": "S5"}),
    (Page.SITE, {"site": "S6"}),
    (Page.OPERATORS, {}),
    (Page.OPERATORS, {"operator": "31"}),
    (Page.OPERATORS, {"site": "S1", "measure": "MSR-013"}),
    (Page.GRADES, {}),
    (Page.GRADES, {"site": "S4", "table": "att_karlas2017.v1"}),
    (Page.EXPLAIN, {}),
    (Page.EXPLAIN, {"site": "S3", "measure": "MSR-012"}),
    (Page.PACK, {}),
    (Page.PACK, {"site": "S3"}),
    (Page.PACK, {"kind": "record"}),
    (Page.INTAKE, {}),
    (Page.INTAKE, {"site": "S2"}),
    (Page.INTAKE, {"site": "S6"}),
    (Page.METHODS, {}),
]


@pytest.mark.parametrize(("page", "query"), STATES)
def test_render_gives_one_answer_the_caution_and_a_skip_link(page, query):
    shown = render(page, sample_published, query)
    (heading,) = of_kind(shown, "H1")
    assert text(heading)
    assert "could not be made" not in text(heading)
    assert CAUTION in text(of_kind(shown, "Footer"))
    assert element(shown, ids.Shell.MAIN)
    assert addresses(shown)[0] == f"#{ids.Shell.MAIN}"


@pytest.mark.parametrize(("page", "query"), STATES)
def test_render_leads_only_to_states_that_are_there(page, query):
    """What every link of every screen asks for is known to the snapshot."""
    for href in addresses(render(page, sample_published, query)):
        parts = urlsplit(href)
        if not parts.path:
            continue
        assert parts.path in [*Page, *Download]
        asked = {key: value[0] for key, value in parse_qs(parts.query).items()}
        selection = read_selection(sample_published(), asked)
        assert selection is not None
        assert selection.problems == ()


@pytest.mark.parametrize(
    ("page", "query"),
    [
        (Page.GRADES, {}),
        (Page.SITE, {"site": "S3", "measure": "MSR-012"}),
        (Page.OPERATORS, {"measure": "MSR-013"}),
        (Page.METHODS, {}),
    ],
)
def test_render_where_grades_show_carries_the_grade_caution(page, query):
    assert GRADE_CAUTION in text(render(page, sample_published, query))


def test_render_month_by_false_share_says_what_it_is_and_keeps_the_choice():
    shown = render(Page.MONTH, sample_published, {"list": "false-share"})
    said = text(shown)
    assert "false discovery rate 5 %, Benjamini and Hochberg 1995" in said
    assert "Decide by the list by budget." in said
    assert any("list=false-share" in one and "measure=MSR-002" in one for one in addresses(shown))


def test_render_charts_have_a_caption_and_a_table():
    for page, query in STATES:
        for graph in of_kind(render(page, sample_published, query), "Graph"):
            assert graph.config["displayModeBar"] is False
    shown = render(Page.SITE, sample_published, {"site": "S3"})
    charts = [one for one in of_kind(shown, "Figure") if of_kind(one, "Graph")]
    assert charts
    assert all(text(of_kind(chart, "Figcaption")) for chart in charts)
    # The sample states no readings, attempts or durations: sentences stand there, no empty charts.
    assert len(of_kind(shown, "Details")) == 5
    assert text(shown).count("Nothing to draw") == 3


def test_render_of_a_late_site_says_where_its_charts_end():
    shown = render(Page.SITE, sample_published, {"site": "S6"})
    ends = {text(one) for one in components(shown) if getattr(one, "className", "") == "last"}
    assert ends == {"until Sep 26"}
    assert "Nothing can be said about October 2026" in text(shown)


def test_render_heat_marks_carry_their_word():
    shown = render(Page.MONTH, sample_published, {})
    cells = [one for one in components(shown) if "cell-" in (getattr(one, "className", "") or "")]
    assert cells
    for cell in cells:
        assert text(cell).strip() == cell.className.rsplit("-", 1)[-1]


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"month": "2020-01"}, "Nothing is published for January 2020."),
        ({"month": "soon"}, "'soon' is no month"),
        ({"site": "S99"}, "There is no site 'S99' in this network."),
        ({"site": "<b>x</b>"}, "There is no site '<b>x</b>' in this network."),
        ({"measure": "MSR-999"}, "There is no measure 'MSR-999'"),
    ],
)
def test_render_of_an_unknown_choice_says_so_and_shows_the_rest(query, words):
    shown = render(Page.SITE, sample_published, query)
    assert words in text(shown)
    assert "October 2026" in text(of_kind(shown, "H1"))


def test_render_of_a_value_given_twice_takes_the_first():
    shown = render(Page.SITE, sample_published, {"site": ["S1", "S2"]})
    assert "Alder Sound" in text(of_kind(shown, "H1"))


def test_render_with_nothing_published_says_what_to_run():
    def nothing():
        raise SnapshotError("nothing is published yet", todo="Run 'elastoqa refresh'")

    for page in Page:
        said = text(render(page, nothing, {}))
        assert "Nothing is published yet." in said
        assert "elastoqa refresh" in said
        assert "Nothing is published yet." in text(render(page, empty_published, {}))


def test_render_of_a_fault_of_ours_says_so_and_logs_it(caplog):
    broken = sample_published().with_frame("baselines", empty_published().frame("baselines"))
    broken.frames.pop("signals")
    shown = render(Page.MONTH, lambda: broken, {})
    assert "This screen could not be made." in text(shown)
    assert "KeyError" in caplog.text


def test_render_below_a_prefix_keeps_it_in_every_address():
    shown = render(Page.MONTH, sample_published, {}, prefix="/qa/")
    inner = [href for href in addresses(shown) if not href.startswith("#")]
    assert inner
    assert all(href.startswith("/qa/") for href in inner)
