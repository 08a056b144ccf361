"""Intake against the truth, row by row, over all four shapes."""

from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from demo_sites.make import make_demo
from demo_sites.shapes import SHAPES
from demo_sites.truth import Truth, read_truth
from qa.jobs.intake import run_intake
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import open_warehouse
from tests.planted.reading import differences
from tests.planted.scenarios import SMALL

KNOWN_AT = datetime(2025, 7, 4, 7, 0, tzinfo=UTC)
FOUR_SHAPES = SMALL.replace("sites = 3", "sites = 4").replace("devices = 4", "devices = 7")


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Truth]:
    folder = tmp_path_factory.mktemp("four")
    (folder / "four.toml").write_text(FOUR_SHAPES, encoding="utf-8")
    make_demo(folder, scenario=folder / "four.toml")
    report = run_intake(folder, site_id=None, key=b"k" * 32, known_at=KNOWN_AT)
    assert report.is_clean
    return folder, read_truth(folder)


def exams_in(folder: Path) -> pl.DataFrame:
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        return warehouse.current_exams()


def test_scenario_holds_every_shape(taken_in: tuple[Path, Truth]) -> None:
    folder, _ = taken_in
    profiles = {site.profile for site in load_network(folder).sites}
    assert profiles == {shape.id for shape in SHAPES}


def test_run_intake_agrees_with_truth_row_by_row(taken_in: tuple[Path, Truth]) -> None:
    """The truth was worked out by the generator before it wrote the files."""
    folder, truth = taken_in
    exams = exams_in(folder)
    assert exams.height == truth.sent.height > 500
    assert differences(exams, truth) == {}


def test_differences_sees_a_changed_value(taken_in: tuple[Path, Truth]) -> None:
    """The comparison itself can fail."""
    folder, truth = taken_in
    exams = exams_in(folder)
    is_first = (pl.col("row_no") == 1) & (pl.col("exam_key") == exams["exam_key"][0])
    changed = exams.with_columns(age_years=pl.when(is_first).then(1).otherwise("age_years"))
    changed = changed.with_columns(bmi_kg_m2=pl.col("bmi_kg_m2") + 1e-6).slice(1)
    assert set(differences(changed, truth)) >= {"row", "bmi_kg_m2"}


def test_patients_stay_apart_and_nothing_identifying_enters(taken_in: tuple[Path, Truth]) -> None:
    folder, truth = taken_in
    exams = exams_in(folder)
    assert exams["patient_key"].n_unique() == truth.sent["patient_no"].n_unique()
    words = exams.select(pl.col(pl.String)).to_dicts()
    texts = {text for row in words for text in row.values() if text is not None}
    assert not texts & set(truth.sent["patient_no"])
    assert not texts & set(truth.sent["exam_no"])
    assert not any("invented" in text for text in texts)
