"""A network folder with one published snapshot of the sample network; no warehouse is needed."""

import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from qa.stores.definitions import read_definition_texts
from qa.stores.publishing import publish_snapshot
from qa.stores.snapshots import PUBLISHED_SCHEMAS
from tests.pages.sample_counts import LAST, PUBLISHED_AT, sample_network
from tests.pages.sample_published import SamplePublished, sample_published

MONTH = LAST
SET = "common-practice.v1"


def sample_of_one_set() -> SamplePublished:
    """The sample judged by one criteria set throughout, as definition files on disk know it."""
    sample = sample_published()
    network = sample_network()
    return replace(
        sample,
        frames={name: _one_set(frame) for name, frame in sample.frames.items()},
        network=replace(network, criteria=network.criteria[:1]),
    )


def _one_set(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(criteria_id=pl.lit(SET)) if "criteria_id" in frame.columns else frame


@pytest.fixture(scope="session")
def published() -> SamplePublished:
    return sample_of_one_set()


def network_text(published: SamplePublished) -> str:
    """network.toml of the sample network."""
    network = published.network
    lines = [f'id = "{network.id}"', f'name = "{network.name}"', "is_invented = true"]
    for site in network.sites:
        lines += ["[[sites]]", f'id = "{site.id}"', f'name = "{site.name}"']
        lines += [f'time_zone = "{site.time_zone}"', f'profile = "{site.profile}"']
    for person in network.operators:
        lines += ["[[operators]]", f'id = "{person.id}"', f'site = "{person.site}"']
        lines += [f'code = "{person.code}"']
    lines += ["[[criteria]]", f'id = "{SET}"', "from = 2023-11-01"]
    for table in network.grade_tables:
        lines += ["[[grade_tables]]", f'id = "{table.id}"', f'quantity = "{table.quantity}"']
        lines += ['techniques = ["TE"]', "from = 2023-11-01"]
    return "\n".join(lines) + "\n"


def publish(root: Path, published: SamplePublished, *, at: datetime = PUBLISHED_AT) -> str:
    """Publish the sample's frames in a network folder; returns the snapshot's id."""
    text = network_text(published)
    (root / "network.toml").write_text(text, encoding="utf-8")
    snapshot_id, _ = publish_snapshot(
        root / "snapshots",
        frames={name: published.frames[name] for name in PUBLISHED_SCHEMAS},
        network_text=text,
        definition_texts=read_definition_texts(),
        published_at=at,
        software_version="0.1.0",
    )
    return snapshot_id


@pytest.fixture(scope="session")
def published_folder(tmp_path_factory: pytest.TempPathFactory, published: SamplePublished) -> Path:
    """Published once; copied for each test."""
    folder = tmp_path_factory.mktemp("published")
    publish(folder, published)
    return folder


@pytest.fixture
def network_folder(tmp_path: Path, published_folder: Path) -> Path:
    shutil.copytree(published_folder, tmp_path, dirs_exist_ok=True)
    return tmp_path


def one_failed_exam_more(published: SamplePublished, site_id: str, month: date) -> SamplePublished:
    """The sample after a correction: one reliable exam of the site's month turned out failed."""
    points = published.frames["chart_points"]
    is_cell = (
        (pl.col("unit_id") == site_id)
        & (pl.col("month") == month)
        & (pl.col("measure_id") == "MSR-003")
    )
    n_events = pl.when(is_cell).then(pl.col("n_events") + 1).otherwise(pl.col("n_events"))
    share = pl.when(pl.col("n") > 0).then(pl.col("n_events") / pl.col("n"))
    changed = points.with_columns(n_events).with_columns(value=share)
    return published.with_frame("chart_points", changed)


LATER = PUBLISHED_AT + timedelta(days=2)
