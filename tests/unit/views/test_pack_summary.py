"""What changed and what is asked, from signals, counts, quarantine and files."""

from datetime import date

import polars as pl
import pytest

from qa.model.months import add_months
from qa.views.pack import SitePack, site_pack
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import SamplePublished, sample_published


def packed(published: SamplePublished, site_id: str) -> SitePack:
    return site_pack(published, site_id=site_id, month=LAST)


def with_signals_of(published: SamplePublished, months: list[date]) -> SamplePublished:
    """The operator's signal of the last month, moved to each of the months."""
    signal = published.frame("signals", unit_kind="operator", month=LAST).head(1)
    moved = [
        signal.with_columns(month=pl.lit(month), signal_id=pl.lit(f"s{i}"))
        for i, month in enumerate(months)
    ]
    return published.with_frame("signals", pl.concat(moved))


@pytest.mark.parametrize(
    ("months", "line"),
    [
        ([0], "New this month: unreliable exams of Operator 31."),
        ([-1, 0], "Still signalled: unreliable exams of Operator 31 (since July 2026)."),
        ([-1], "No longer signalled: unreliable exams of Operator 31."),
    ],
    ids=["new", "still", "gone"],
)
def test_signals_are_new_still_there_or_gone(months: list[int], line: str) -> None:
    moved = with_signals_of(sample_published(), [add_months(LAST, n) for n in months])
    assert packed(moved, "S3").changes[0] == line


def test_a_signal_is_asked_of_lead_and_operator() -> None:
    ask = packed(sample_published(), "S3").asks[0]
    assert ask.who == "Site lead, Operator 31"
    assert "steadiness and breath hold" in ask.what
    assert "more than expected" in ask.why


def test_rows_in_quarantine_are_told_and_asked_for() -> None:
    pack = packed(sample_published(), "S2")
    assert "2 rows of the site's files wait in quarantine (CHK-003)." in pack.changes
    assert [ask.what for ask in pack.asks] == ["Mend 2 rows and send the file again"]


def test_a_quiet_site_is_asked_for_nothing() -> None:
    pack = packed(sample_published(), "S1")
    assert pack.asks == ()
    assert len(pack.changes) == 1


def test_numbers_of_both_months_are_those_of_the_counts() -> None:
    published = sample_published()
    now, before = (
        published.frame("monthly_counts", site_id="S1", month=month)["n_judged"].sum()
        for month in (LAST, add_months(LAST, -1))
    )
    assert packed(published, "S1").changes[-1] == (
        f"{now} exams judged, {before} in September 2026."
    )


def test_a_refused_file_is_told_until_it_is_read() -> None:
    published = sample_published()
    files = published.frames["files"]
    refused = files.filter(pl.col("site_id") == "S1").with_columns(
        file_id=pl.lit("bad"), name=pl.lit("broken.csv"), state=pl.lit("refused")
    )
    told = packed(published.with_frame("files", pl.concat([files, refused])), "S1")
    assert "Refused whole and waiting: broken.csv." in told.changes
    mended = pl.concat([files, refused, refused.with_columns(state=pl.lit("read"))])
    assert "Refused" not in " ".join(packed(published.with_frame("files", mended), "S1").changes)


def test_a_change_of_criteria_is_told_in_its_first_month() -> None:
    published = sample_published()
    first = site_pack(published, site_id="S1", month=date(2026, 1, 1))
    assert any("common-practice.v2 instead of common-practice.v1" in one for one in first.changes)
    later = site_pack(published, site_id="S1", month=date(2026, 2, 1))
    assert not any("criteria set" in one for one in later.changes)


def test_what_is_in_control_but_off_target_is_told() -> None:
    published = sample_published()
    points = published.frame("chart_points")
    is_last = (
        (pl.col("unit_id") == "S1")
        & (pl.col("measure_id") == "MSR-001")
        & (pl.col("month") == LAST)
    )
    off = points.with_columns(
        target=pl.when(is_last).then(0.02),
        target_verdict=pl.when(is_last).then(pl.lit("in control but off target")),
    )
    lines = packed(published.with_frame("chart_points", off), "S1").changes
    assert "In control but off target: unreliable exams (target 2.0 %)." in lines
