"""An archive of the sample snapshot, published at stated times; nothing is read from disk."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from qa.followup.facts import PackFact, SnapshotFacts
from qa.followup.snapshot_facts import read_facts
from tests.pages.sample_published import SamplePublished, sample_published


@dataclass
class SampleArchive:
    """Implements qa.jobs.followup.archive.Archive. times: when each snapshot was published."""

    times: Sequence[datetime]
    published: SamplePublished
    issued: Sequence[PackFact] = ()

    def snapshots(self) -> list[tuple[datetime, str]]:
        return [(at, f"S{at:%Y%m%dT%H%M%SZ}-sample00") for at in sorted(self.times)]

    def facts(
        self, snapshot_id: str, *, site_id: str, months: Sequence[date]
    ) -> dict[date, SnapshotFacts]:
        found = read_facts(self.published, site_id=site_id, months=months)
        return {month: replace(one, snapshot_id=snapshot_id) for month, one in found.items()}

    def packs(self, *, site_id: str, month: date) -> list[PackFact]:
        return list(self.issued)


def sample_archive(*times: datetime, issued: Sequence[PackFact] = ()) -> SampleArchive:
    published = sample_published()
    return SampleArchive(times or (published.published_at,), published, issued)
