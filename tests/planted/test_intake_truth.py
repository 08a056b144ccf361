"""Intake against the truth, row by row: every shape at small scale, and the whole default demo.

The truth was worked out by the generator before it wrote the files, without any code of intake.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from demo_sites.make import make_demo
from demo_sites.shapes import SHAPES
from demo_sites.truth import Truth, read_truth
from qa.jobs.intake import IntakeReport, run_intake
from qa.model.words import FileFormat
from qa.stores.settings import NetworkFolder
from qa.stores.warehouse import open_warehouse
from tests.planted.reading import differences
from tests.planted.scenarios import every_shape

KNOWN_AT = datetime(2025, 7, 4, 7, 0, tzinfo=UTC)
FAULTS = {
    "unit_missing": "CHK-039",
    "valid_above_attempted": "CHK-017",
    "unknown_operator": "CHK-012",
}
MEDIAN_APART = "CHK-030"


@dataclass(frozen=True)
class TakenIn:
    folder: Path
    truth: Truth
    report: IntakeReport
    exams: pl.DataFrame
    waiting: pl.DataFrame

    @property
    def file_names(self) -> dict[str, str]:
        """SHA-256 → file, without copies."""
        files = self.truth.facts["files"]
        return {one["sha256"]: one["file"] for one in files if "same_as" not in one}


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> TakenIn:
    folder = tmp_path_factory.mktemp("shapes")
    (folder / "shapes.toml").write_text(every_shape(), encoding="utf-8")
    make_demo(folder, scenario=folder / "shapes.toml")
    report = run_intake(folder, site_id=None, key=b"k" * 32, known_at=KNOWN_AT)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        exams, waiting = warehouse.current_exams(), warehouse.quarantined()
    return TakenIn(folder, read_truth(folder), report, exams, waiting)


def of_shape(taken_in: TakenIn, shape_id: str) -> tuple[pl.DataFrame, Truth]:
    truth = taken_in.truth
    files = {one["sha256"] for one in truth.facts["files"] if one["shape"] == shape_id}
    exams = taken_in.exams.filter(pl.col("file_id").is_in(files))
    return exams, replace(truth, exams=truth.exams.filter(pl.col("shape") == shape_id))


def test_demo_sends_every_format_and_more_than_seven_shapes() -> None:
    assert {shape.format for shape in SHAPES} == set(FileFormat)
    assert len(SHAPES) >= 7


@pytest.mark.parametrize("shape_id", [shape.id for shape in SHAPES])
def test_run_intake_agrees_with_truth_row_by_row(taken_in: TakenIn, shape_id: str) -> None:
    exams, truth = of_shape(taken_in, shape_id)
    assert exams.height == truth.counting.height >= 20
    assert differences(exams, truth) == {}


def test_default_demo_agrees_with_truth_row_by_row(published_demo: Path) -> None:
    truth = read_truth(published_demo)
    with open_warehouse(NetworkFolder(published_demo).warehouse) as warehouse:
        exams = warehouse.current_exams()
    assert exams.height == truth.counting.height > 50_000
    assert differences(exams, truth) == {}


def test_differences_sees_a_changed_value(taken_in: TakenIn) -> None:
    """The comparison itself can fail."""
    exams = taken_in.exams
    is_first = pl.int_range(pl.len()) == 1
    changed = exams.with_columns(age_years=pl.when(is_first).then(1).otherwise("age_years"))
    readings = pl.col("measurements").list.eval(pl.element() + 0.1)
    changed = changed.with_columns(bmi_kg_m2=pl.col("bmi_kg_m2") + 1e-6, measurements=readings)
    found = differences(changed.slice(1), taken_in.truth)
    assert set(found) >= {"row", "bmi_kg_m2", "age_years", "measurements"}


def test_only_faulty_rows_wait_each_with_its_reason(taken_in: TakenIn) -> None:
    waiting = taken_in.waiting.with_columns(
        source_file=pl.col("file_id").replace_strict(taken_in.file_names)
    )
    both = taken_in.truth.waiting.join(waiting, on=["source_file", "row_no"], how="full")
    found = both.select("mishap", pl.col("codes").list.join(","))
    expected = both.select("mishap", pl.col("mishap").replace_strict(FAULTS).alias("codes"))
    assert found.equals(expected)
    assert found.height == taken_in.report.n_quarantined == 6


def test_file_sent_twice_is_known(taken_in: TakenIn) -> None:
    assert taken_in.report.n_files_known == 1
    assert taken_in.report.n_files_refused == 0
    files = len(taken_in.file_names)
    assert taken_in.report.n_files_read == files


def test_corrected_and_amended_exams_keep_their_first_version(taken_in: TakenIn) -> None:
    """Both versions are there; the first had other fasting hours than the one that counts."""
    touched = taken_in.truth.exams.filter(
        pl.col("mishap").is_in(["corrected_export", "amended"])
    ).height
    with open_warehouse(NetworkFolder(taken_in.folder).warehouse) as warehouse:
        latest = warehouse.latest_versions()
    second = taken_in.exams.filter(pl.col("version_no") == 2)
    assert second.height == touched == 5
    assert second["fasting_hours"].min() >= 3.0
    assert (latest["version_no"] == 2).sum() == touched + 3


def test_exam_taken_back_is_kept_and_does_not_count(taken_in: TakenIn) -> None:
    withdrawn = taken_in.truth.exams.filter(pl.col("fate") == "withdrawn")
    with open_warehouse(NetworkFolder(taken_in.folder).warehouse) as warehouse:
        known = warehouse.latest_versions().height
    assert withdrawn.height == 3
    assert known == taken_in.exams.height + withdrawn.height


def test_stated_median_that_readings_do_not_give_is_flagged(taken_in: TakenIn) -> None:
    slips = taken_in.truth.exams.filter(pl.col("mishap") == "stated_otherwise")
    exams, _ = of_shape(taken_in, "terrace")
    flagged = exams.filter(pl.col("flags").list.contains(MEDIAN_APART))
    assert flagged.height == slips.height == 2
    assert sorted(flagged["stiffness_value"]) == sorted(slips["stiffness_value"])


def test_visitor_and_moved_device_are_themselves_at_both_sites(taken_in: TakenIn) -> None:
    for column, unit in (("operator_id", "op-01"), ("device_id", "dev-08")):
        own = taken_in.exams.filter(pl.col(column) == unit)
        assert "orchard-site" in own["site_id"].to_list()
        assert own["site_id"].n_unique() == 2


def test_patients_stay_apart_and_nothing_identifying_enters(taken_in: TakenIn) -> None:
    exams, truth = taken_in.exams, taken_in.truth
    assert exams["patient_key"].n_unique() == truth.counting["patient_no"].n_unique()
    words = exams.select(pl.col(pl.String)).to_dicts()
    texts = {text for row in words for text in row.values() if text is not None}
    assert not texts & set(truth.sent["patient_no"])
    assert not texts & set(truth.sent["exam_no"])
    assert not any("invented" in text for text in texts)
