"""The Month view's answer, heat table and intake lines against the hand-made snapshot."""

import polars as pl

from qa.views.month import CHARTED_ITEMS, month_view
from qa.views.sites import sites_view
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published


def all_steady(published):
    """The same snapshot without a signal and with every judged point steady."""
    calm = published.frame("chart_points").with_columns(
        state=pl.when(pl.col("state") == "few").then(pl.lit("few")).otherwise(pl.lit("steady"))
    )
    return published.with_frame("chart_points", calm).with_frame(
        "signals", published.frame("signals").clear()
    )


def test_month_view_answers_from_items_and_sites():
    view = month_view(sample_published(), month=LAST)
    assert view.answer == (
        "One thing needs you in October 2026; nothing new at five of six sites. One site has not "
        "sent its exams."
    )
    assert "two of six sites steady · one with too few exams for a verdict" in view.subline


def test_month_view_without_signals_says_nothing_needs_you():
    published = all_steady(sample_published())
    view = month_view(published, month=LAST)
    assert view.items == ()
    assert view.answer.startswith("Nothing needs you in October 2026; nothing new at five of")
    assert "four of six sites steady" in view.subline


def test_month_view_says_how_many_new_items_chance_gives():
    """Six sites and 13 operators with eight watched measures and the network: 0.3 % each."""
    published = sample_published()
    watched = [one.id for one in published.definitions.measures.values() if one.is_watched]
    charts = published.frame("chart_points", month=LAST, measure_id=watched).filter(
        pl.col("n") > 0, pl.col("phase") == "monitoring"
    )
    view = month_view(published, month=LAST)
    expected = min(1.0, 0.003 * charts.height)
    assert view.budget_text == (
        f"New this month: no. By chance alone about {expected:.1f} new items a month are expected "
        f"over {charts.height} charts; the network's budget is 1.0."
    )


def test_month_view_subline_counts_the_judged_exams():
    published = sample_published()
    judged = published.frame("monthly_counts", month=LAST)["n_judged"].sum()
    view = month_view(published, month=LAST)
    assert view.subline.startswith(f"{judged} exams judged under Common practice, version 2")
    assert "invented demo data" in view.subline


def test_month_view_heat_has_a_word_for_each_site_and_watched_measure():
    view = month_view(sample_published(), month=LAST)
    words = {row.name: {cell.word for cell in row.cells} for row in view.heat}
    assert words["Merlin Court"] == {"late"}
    assert words["Heron Mill"] == {"few"}
    assert all(len(row.cells) == len(view.measures) for row in view.heat)


def test_month_view_charts_the_measure_of_the_first_item_unless_asked():
    published = sample_published()
    assert month_view(published, month=LAST).multiples_measure.key == "unreliable"
    asked = month_view(published, month=LAST, measure_id="MSR-003")
    assert {chart.measure_id for chart in asked.multiples} == {"MSR-003"}
    assert [chart.unit_id for chart in asked.multiples] == ["S1", "S2", "S3", "S4", "S5", "S6"]


def test_month_view_draws_charts_for_the_first_items_only():
    published = sample_published()
    one = published.frame("signals").filter(pl.col("rank") == 1)
    many = pl.concat(
        one.with_columns(signal_id=pl.lit(f"SIG-{number:02d}"), rank=pl.lit(number, dtype=pl.Int32))
        for number in range(1, CHARTED_ITEMS + 3)
    )
    items = month_view(published.with_frame("signals", many), month=LAST).items
    assert [item.chart is not None for item in items] == [True] * CHARTED_ITEMS + [False] * 2


def test_month_view_intake_names_the_late_site_and_the_quarantine_reason():
    texts = [one.text for one in month_view(sample_published(), month=LAST).arrivals]
    assert texts[0] == ("Merlin Court: October 2026 is not in; it was expected by 3 November 2026.")
    assert texts[1].startswith("Bracken Hill: 2 rows in quarantine. Most often (CHK-003):")


def test_month_view_intake_names_a_refused_file_until_it_is_read():
    published = sample_published()
    refused = published.frame("files", file_id="file-S1").with_columns(
        state=pl.lit("refused"), problem=pl.lit("the file is empty")
    )
    shown = month_view(published.with_frame("files", refused), month=LAST).arrivals
    assert any(one.text == "s1-2026-10.csv: refused. The file is empty." for one in shown)
    again = refused.with_columns(
        state=pl.lit("read"), known_at=pl.col("known_at").dt.offset_by("1d")
    )
    mended = published.with_frame("files", pl.concat([refused, again]))
    assert not any("refused" in one.text for one in month_view(mended, month=LAST).arrivals)


def test_sites_view_puts_the_urgent_first_and_the_late_last():
    view = sites_view(sample_published(), month=LAST)
    assert view.answer == "One of six sites needs a look in October 2026."
    states = [row.state for row in view.rows]
    assert states == sorted(states, key=["look", "watch", "steady", "few", "late"].index)
    assert view.rows[-1].name == "Merlin Court"


def test_sites_view_of_a_calm_month_says_that_no_site_stands_out():
    view = sites_view(all_steady(sample_published()), month=LAST)
    assert view.answer == "No site stands out in October 2026."
