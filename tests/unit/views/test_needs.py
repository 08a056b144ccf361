"""Training and service needs against the hand-made snapshot."""

from dataclasses import replace

import polars as pl
import pytest

from qa.model.definitions import Settings
from qa.model.need_schema import NEEDS
from qa.views.needs import needs_frame, service_needs, training_needs
from qa.views.worklist import work_items
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published


@pytest.fixture(scope="module")
def published():
    return sample_published()


@pytest.fixture(scope="module")
def items(published):
    return work_items(published, published.frame("signals", month=LAST))


def test_training_needs_name_step_reason_stake_and_practice(published, items):
    first, *thin = training_needs(published, items, month=LAST)
    counts = published.frame("monthly_counts").filter(pl.col("operator_id") == "31")
    assert (first.rank, first.unit_id, first.site_id) == (1, "31", "S3")
    assert first.what == "Look at steadiness and breath hold."
    assert first.reason.startswith("Unreliable exams rose from 5.0 to ")
    assert first.n_all == counts["n_performed"].sum()
    assert first.practice.startswith(f"{first.n_year:,} exams in 12 months, ")
    assert first.at_stake == items[0].at_stake > 0
    assert all(need.at_stake == 0 for need in thin)


def test_training_needs_list_thin_practice_after_items(published):
    """Operators with fewer than 50 exams in the year or 100 in all, fewest first."""
    thin = training_needs(published, (), month=LAST)
    counts = published.frame("monthly_counts")
    year = counts.filter(pl.col("month") > pl.lit(LAST).dt.offset_by("-12mo"))
    n_year = dict(year.group_by("operator_id").agg(pl.col("n_performed").sum()).iter_rows())
    n_all = dict(counts.group_by("operator_id").agg(pl.col("n_performed").sum()).iter_rows())
    expected = {one for one, n in n_year.items() if n and (n < 50 or n_all[one] < 100)}
    assert {need.unit_id for need in thin} == expected
    assert [need.n_year for need in thin] == sorted(need.n_year for need in thin)


@pytest.mark.parametrize(
    ("settings", "n_thin"),
    [
        (Settings(current_exams_a_year=0, provisional_until_exams=0), 0),
        (Settings(current_exams_a_year=10**6, provisional_until_exams=0), 13),
        (Settings(current_exams_a_year=0, provisional_until_exams=10**6), 13),
    ],
    ids=["none asked", "a year", "in all"],
)
def test_training_needs_take_their_numbers_from_settings(published, settings, n_thin):
    """All of the sample's 13 operators did some exams in the year, none a million."""
    asked = replace(published, network=replace(published.network, settings=settings))
    thin = training_needs(asked, (), month=LAST)
    assert len(thin) == n_thin
    assert all("1000000" in need.reason for need in thin) or not settings.provisional_until_exams


def test_training_needs_of_a_site_leave_others_out(published, items):
    assert all(
        need.site_id == "S1" for need in training_needs(published, items, month=LAST, site_id="S1")
    )


def test_service_needs_list_devices_with_an_item(published, items):
    assert service_needs(published, items, month=LAST) == ()
    device = replace(items[0], unit_kind="device", unit_id="nowhere")
    (need,) = service_needs(published, (device,), month=LAST)
    assert (need.rank, need.unit_id, need.practice) == (1, "nowhere", "no exams known")


def test_needs_frame_holds_every_need_with_its_items(published, items):
    frame = needs_frame(published)
    assert frame.schema == NEEDS.to_polars()
    assert frame.select(NEEDS.key).is_unique().all()
    first = frame.row(0, named=True)
    assert (first["rank"], first["unit_id"], first["month"]) == (1, "31", LAST)
    assert first["item_ids"] == [items[0].item_id]
    needs = training_needs(published, items, month=LAST)
    assert frame["unit_id"].to_list() == [need.unit_id for need in needs]
