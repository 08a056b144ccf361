"""The snapshot that pages read: opened once, and anew when another one is published."""

from datetime import timedelta

from dashboard.source import CurrentSnapshot
from qa.stores.definitions import read_definition_texts
from qa.stores.publishing import publish_snapshot
from tests.pages.sample_counts import PUBLISHED_AT
from tests.pages.sample_published import empty_published, sample_published

NETWORK = """
id = "sample"
name = "Sample"
is_invented = true

[[sites]]
id = "S1"
name = "Alder Sound"
time_zone = "Europe/London"
profile = "plain"

[[criteria]]
id = "common-practice.v1"
from = 2023-11-01
"""


def publish(folder, frames, *, days: int) -> str:
    snapshot_id, _ = publish_snapshot(
        folder / "snapshots",
        frames=frames,
        network_text=NETWORK,
        definition_texts=read_definition_texts(),
        published_at=PUBLISHED_AT + timedelta(days=days),
        software_version="0.1.0",
    )
    return snapshot_id


def test_current_snapshot_is_opened_once_and_anew_when_another_is_published(tmp_path):
    source = CurrentSnapshot(tmp_path)
    first_id = publish(tmp_path, sample_published().frames, days=0)
    first = source()
    assert first.snapshot_id == first_id
    assert source() is first
    second_id = publish(tmp_path, empty_published().frames, days=1)
    assert second_id != first_id
    assert source().snapshot_id == second_id
    assert source().frame("signals").is_empty()


def test_current_snapshot_of_before_still_answers_a_page_that_reads_it(tmp_path):
    source = CurrentSnapshot(tmp_path)
    publish(tmp_path, sample_published().frames, days=0)
    first = source()
    publish(tmp_path, empty_published().frames, days=1)
    source()
    assert first.frame("signals").height == 2
