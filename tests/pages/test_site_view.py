"""The Site view's answer and tables against the hand-made snapshot."""

from datetime import date

import polars as pl
import pytest

from qa.views.site import site_view
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published


@pytest.mark.parametrize(
    ("site_id", "state", "answer"),
    [
        (
            "S1",
            "ok",
            "Nothing signals at Alder Sound in October 2026: all seven watched measures steady.",
        ),
        ("S3", "ok", "One thing needs attention at Eider Point in October 2026"),
        ("S5", "few", "Heron Mill: 4 exams in October 2026, too few for a verdict."),
        ("S6", "late", "Merlin Court has sent no exams of October 2026 yet."),
    ],
)
def test_site_view_answers_from_the_figures(site_id, state, answer):
    view = site_view(sample_published(), site_id=site_id, month=LAST)
    assert view.state == state
    assert view.answer.startswith(answer)


def test_site_view_figures_equal_the_counts_divided_by_hand():
    published = sample_published()
    counts = published.frame("monthly_counts", site_id="S1", month=LAST)
    figures = {
        figure.name: figure for figure in site_view(published, site_id="S1", month=LAST).figures
    }
    share = counts["n_reliable"].sum() / counts["n_judged"].sum()
    assert figures["reliable"].value == pytest.approx(share)
    assert figures["reliable"].n == counts["n_judged"].sum()
    assert figures["n_judged"].value == counts["n_judged"].sum()


def test_site_view_lists_failed_then_incomplete_then_widest_spread():
    exams = site_view(sample_published(), site_id="S3", month=LAST).exams
    outcomes = [exam.outcome for exam in exams]
    assert outcomes == sorted(outcomes, key=["failed", "incomplete", "unreliable"].index)
    spreads = [exam.ratio_share for exam in exams if exam.outcome == "unreliable"]
    assert spreads == sorted(spreads, reverse=True)
    assert "reliable" not in outcomes


def test_site_view_names_the_operators_signal_once_and_what_it_explains():
    (item,) = site_view(sample_published(), site_id="S3", month=LAST).items
    assert item.unit_id == "31"
    assert item.also == ("Eider Point, unreliable exams",)


def test_site_view_without_the_explaining_signal_shows_the_explained_one():
    published = sample_published()
    rows = published.frame("signals").filter(pl.col("signal_id") == "SIG-S3")
    (item,) = site_view(published.with_frame("signals", rows), site_id="S3", month=LAST).items
    assert item.signal_id == "SIG-S3"


def test_site_view_of_a_month_before_all_data_is_late_and_empty():
    view = site_view(sample_published(), site_id="S1", month=date(2020, 1, 1))
    assert (view.state, view.exams, view.operators, view.n_exams) == ("late", (), (), 0)
