from datetime import UTC, date, datetime
from pathlib import Path

import duckdb
import polars as pl
import pytest

from qa.model.errors import SnapshotError
from qa.model.schemas import CHART_POINTS, MONTHLY_COUNTS
from qa.stores.definitions import read_definition_texts
from qa.stores.publishing import publish_snapshot, remove_unfinished
from qa.stores.snapshots import PUBLISHED_SCHEMAS, open_current, open_snapshot

NETWORK = """
id = "n"
name = "N"
is_invented = true
[[sites]]
id = "a"
name = "A"
time_zone = "UTC"
profile = "p"
[[criteria]]
id = "common-practice.v1"
from = 2024-01-01
"""
AT = datetime(2026, 11, 2, 8, 30, tzinfo=UTC)


def points(*values: float) -> pl.DataFrame:
    rows = [
        {
            "unit_kind": "site",
            "unit_id": "a",
            "measure_id": "MSR-001",
            "criteria_id": "common-practice.v1",
            "month": date(2026, 1 + number, 1),
            "n_events": 1,
            "n": 10,
            "value": value,
            "chart_kind": "p",
            "baseline_from": "own",
            "phase": "monitoring",
            "limit_method": "exact binomial",
            "rules": ["RUL-001"],
            "state": "look",
        }
        for number, value in enumerate(values)
    ]
    return CHART_POINTS.conform(pl.DataFrame(rows))


def publish(folder: Path, frame: pl.DataFrame, at: datetime = AT) -> tuple[str, bool]:
    frames = {name: schema.empty() for name, schema in PUBLISHED_SCHEMAS.items()}
    return publish_snapshot(
        folder / "snapshots",
        frames=frames | {"chart_points": frame},
        network_text=NETWORK,
        definition_texts=read_definition_texts(),
        published_at=at,
        software_version="0.1.0",
    )


def test_published_frame_reads_back_as_it_was(tmp_path: Path) -> None:
    publish(tmp_path, points(0.1, 0.2))
    snapshot = open_current(tmp_path)
    assert snapshot.frame("chart_points").equals(points(0.1, 0.2))
    assert snapshot.published_at == AT
    assert snapshot.network.sites[0].id == "a"


def test_frame_selects_by_value_list_and_null(tmp_path: Path) -> None:
    publish(tmp_path, points(0.1, 0.2, 0.3))
    snapshot = open_current(tmp_path)
    assert snapshot.frame("chart_points", month=date(2026, 2, 1))["value"].to_list() == [0.2]
    months = [date(2026, 1, 1), date(2026, 3, 1)]
    assert snapshot.frame("chart_points", month=months)["value"].to_list() == [0.1, 0.3]
    assert snapshot.frame("chart_points", month=[]).height == 0
    assert snapshot.frame("chart_points", site_id=None).height == 3
    with pytest.raises(KeyError):
        snapshot.frame("chart_points", colour="red")


def test_publishing_the_same_again_changes_nothing(tmp_path: Path) -> None:
    first, is_new = publish(tmp_path, points(0.1))
    again, is_new_again = publish(tmp_path, points(0.1), at=AT.replace(hour=9))
    assert (is_new, is_new_again, first) == (True, False, again)


def test_older_snapshot_stays_readable_after_a_newer_one(tmp_path: Path) -> None:
    first, _ = publish(tmp_path, points(0.1))
    before = open_current(tmp_path)
    second, _ = publish(tmp_path, points(0.2), at=AT.replace(hour=9))
    assert before.frame("chart_points")["value"].to_list() == [0.1]
    assert open_current(tmp_path).snapshot_id == second
    assert open_snapshot(tmp_path, first).frame("chart_points")["value"].to_list() == [0.1]


def test_nothing_published_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(SnapshotError, match=r"nothing is published yet.*elastoqa refresh"):
        open_current(tmp_path)


def test_damaged_snapshot_is_named(tmp_path: Path) -> None:
    snapshot_id, _ = publish(tmp_path, points(0.1))
    (tmp_path / "snapshots" / f"{snapshot_id}.duckdb").write_bytes(b"no database at all")
    with pytest.raises(SnapshotError, match="cannot be read"):
        open_current(tmp_path)


def test_broken_off_publication_leaves_the_current_one(tmp_path: Path) -> None:
    publish(tmp_path, points(0.1))
    (tmp_path / "snapshots" / "S2026.unfinished").write_bytes(b"half")
    assert open_current(tmp_path).frame("chart_points").height == 1
    assert len(list(remove_unfinished(tmp_path / "snapshots"))) == 1


def test_frame_of_an_older_program_has_zeros_and_empty_frames(tmp_path: Path) -> None:
    """As published before kinds of repeats and months of the intake were known."""
    snapshot_id, _ = publish(tmp_path, points(0.1))
    path = tmp_path / "snapshots" / f"{snapshot_id}.duckdb"
    with duckdb.connect(str(path)) as connection:
        connection.execute("drop table intake_months")
        connection.execute("alter table exams drop column is_repeat_inferred")
        for column in ("since_first", "since_last", "last_seen_month", "how_sure", "probably_not"):
            connection.execute(f"alter table signals drop column {column}")
        for column in ("n_restarted", "n_recalls"):
            connection.execute(f"alter table monthly_counts drop column {column}")
        count = {name: 7 for name in MONTHLY_COUNTS.names if name[:2] == "n_"}
        del count["n_restarted"], count["n_recalls"]
        names = ", ".join(f"{n} as {name}" for name, n in count.items())
        connection.execute(
            "insert into monthly_counts by name select 'a' as site_id, 'o' as operator_id, "
            "'d' as device_id, 'standard' as probe, 'TE' as technique, date '2026-01-01' as month, "
            f"'c.v1' as criteria_id, {names}, 0 as sum_ln_ratio_micro, 0 as sumsq_ln_ratio_micro, "
            "0 as sum_valid, 0 as sum_attempted, 0 as sum_ln_duration_micro, "
            "0 as sumsq_ln_duration_micro"
        )
    snapshot = open_snapshot(tmp_path, snapshot_id)
    row = snapshot.frame("monthly_counts", site_id="a").row(0, named=True)
    assert (row["n_exams"], row["n_restarted"], row["n_recalls"]) == (7, 0, 0)
    assert snapshot.frame("intake_months").is_empty()
    assert snapshot.frame("exams").is_empty()
    assert snapshot.frame("signals").schema == PUBLISHED_SCHEMAS["signals"].to_polars()
    snapshot.close()
