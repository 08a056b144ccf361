"""A site's devices against the hand-made snapshot."""

from dataclasses import replace

import polars as pl

from qa.views.devices import site_devices
from qa.views.worklist import work_items
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published


def test_site_devices_equal_the_counts_of_the_year_and_name_their_item():
    published = sample_published()
    item = work_items(published, published.frame("signals", month=LAST))[0]
    counts = published.frame("monthly_counts", site_id="S3").filter(
        (pl.col("month") > pl.lit(LAST).dt.offset_by("-12mo")) & (pl.col("n_judged") > 0)
    )
    judged = dict(counts.group_by("device_id").agg(pl.col("n_judged").sum()).iter_rows())
    own = replace(item, unit_kind="device", unit_id=min(judged))
    rows = site_devices(published, (own,), site_id="S3", month=LAST)
    assert {row.device_id: row.n for row in rows} == judged
    first, *others = rows
    assert first.need.startswith("Unreliable exams rose from 5.0 to ")
    assert all(row.need == "" for row in others)
    assert first.newest == "October 2026"
