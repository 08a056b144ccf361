"""The files as sites would send them, read here by general libraries and not by the program."""

import hashlib
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pydicom
import pytest

from demo_sites.shapes import SHAPES
from qa.model.words import FileFormat
from qa.stores.definitions import load_definitions
from qa.stores.settings import load_network, load_profiles
from tests.planted.conftest import Demo
from tests.planted.files import profile_of, resources_of, rows_of, value

TABLES = [s for s in SHAPES if s.format not in (FileFormat.FHIR, FileFormat.DICOM)]
TABLE_IDS = [shape.id for shape in TABLES]
IDENTIFYING = ("name", "family_name", "given_name", "born_on", "comment")
MONTH = "2026-03"


def files_of(demo: Demo, shape_id: str) -> list[Path]:
    """The shape's files of one month."""
    listed = [one["file"] for one in demo.truth.facts["files"] if one["shape"] == shape_id]
    return [demo.folder / file for file in listed if MONTH in file]


@pytest.mark.parametrize("shape", TABLES, ids=TABLE_IDS)
def test_profile_names_every_heading_once(demo: Demo, shape: Any) -> None:
    profile = profile_of(shape.id)
    mapped = [one for c in profile["columns"].values() for one in c.get("headings", [])]
    readings = [heading for heading, column in shape.headings if column.startswith("reading ")]
    measurements = profile.get("measurements", {})
    if shape.readings == "rows":
        readings = [
            *measurements["headings"],
            *(measurements[f"{n}_heading"] for n in ("valid", "order")),
        ]
    assert files_of(demo, shape.id)
    for path in files_of(demo, shape.id):
        headings = list(rows_of(path, profile)[0])
        assert sorted(headings) == sorted([*mapped, *profile["ignore"], *readings])


@pytest.mark.parametrize("shape", TABLES, ids=TABLE_IDS)
def test_profile_ignores_what_identifies(shape: Any) -> None:
    """Names and free text stand in every shape, and in `ignore` of its profile; a birth date is
    ignored too, or only gives the age."""
    identifying = {heading for heading, column in shape.headings if column in IDENTIFYING}
    profile = profile_of(shape.id)
    born = set(profile["columns"].get("birth_date", {}).get("headings", ()))
    assert identifying == set(profile["ignore"]) | born
    assert len(identifying) >= 3


COMPARED = (
    ("exam_id", "exam_no"),
    ("patient_id", "patient_no"),
    ("technique", "technique"),
    ("probe", "probe"),
    ("performed", "performed"),
    ("not_performed_reason", "not_performed_reason"),
    ("order_type", "order_type"),
    ("sex", "sex"),
    ("indication", "indication"),
    ("n_valid", "n_valid"),
    ("n_attempted", "n_attempted"),
    ("stiffness", "stiffness_value"),
    ("stiffness_iqr", "stiffness_iqr"),
    ("attenuation", "attenuation_value"),
    ("attenuation_iqr", "attenuation_iqr"),
    ("fasting_hours", "fasting_hours"),
    ("fasting_kept", "fasting_stated"),
    ("position_kept", "position_stated"),
    ("rest_minutes", "rest_minutes"),
    ("bmi", "bmi_kg_m2"),
    ("age_years", "age_years"),
    ("duration_s", "duration_s"),
)


@pytest.mark.parametrize("shape", TABLES, ids=TABLE_IDS)
def test_files_hold_the_truth_row_by_row(demo: Demo, shape: Any) -> None:
    profile = profile_of(shape.id)
    for path in files_of(demo, shape.id):
        name = path.relative_to(demo.folder).as_posix()
        truth = demo.truth.sent.filter(source_file=name).sort("row_no")
        rows = rows_of(path, profile)
        if shape.readings == "rows":
            rows = [rows[number - 1] for number in truth["row_no"]]
        assert len(rows) == truth.height > 0
        for target, column in COMPARED:
            if target not in profile["columns"]:
                continue
            found: list[Any] = [value(row, target, profile) for row in rows]
            if truth[column].dtype != pl.String:
                found = [None if one is None else float(one) for one in found]
            assert found == truth[column].to_list(), f"{name}: {target}"


def test_rows_of_measurements_give_the_median_and_iqr_of_the_truth(demo: Demo) -> None:
    """Median, and quartiles of type 7 (method "linear"), by numpy."""
    truth = demo.truth.sent.filter(pl.col("shape") == "pebble", pl.col("n_valid") > 1)
    assert truth.height > 4_000
    for readings, median, iqr in truth.select(
        "measurements", "stiffness_value", "stiffness_iqr"
    ).iter_rows():
        low, middle, high = np.quantile(readings, [0.25, 0.5, 0.75], method="linear")
        assert (middle, high - low) == pytest.approx((median, iqr), abs=1e-9)


def test_columns_of_measurements_fit_the_stated_median_and_iqr(demo: Demo) -> None:
    """Quartiles of type 6 (method "weibull"), by numpy; stated to one decimal."""
    truth = demo.truth.sent.filter(
        pl.col("shape") == "terrace", pl.col("n_valid") > 1, pl.col("mishap").is_null()
    )
    assert truth["n_valid"].max() == 10
    assert truth["n_attempted"].null_count() == truth.height
    for readings, median, iqr in truth.select(
        "measurements", "stiffness_value", "stiffness_iqr"
    ).iter_rows():
        low, middle, high = np.quantile(readings, [0.25, 0.5, 0.75], method="weibull")
        assert (middle, high - low) == pytest.approx((median, iqr), abs=0.0501)


@pytest.mark.parametrize(("month", "ending"), [("2025-03", "json"), ("2026-03", "ndjson")])
def test_fhir_files_hold_the_truth(demo: Demo, month: str, ending: str) -> None:
    """HL7 FHIR R4: a report for each exam, its stiffness in valueQuantity, or a reason for none."""
    path = demo.folder / f"incoming/cowrie-bay/cowrie-bay_{month}.{ending}"
    resources = resources_of(path)
    observations = {one["id"]: one for one in resources if one["resourceType"] == "Observation"}
    reports = [one for one in resources if one["resourceType"] == "DiagnosticReport"]
    name = path.relative_to(demo.folder).as_posix()
    truth = demo.truth.sent.filter(source_file=name).sort("row_no")
    assert [one["identifier"][0]["value"] for one in reports] == truth["exam_no"].to_list()
    stiffness = [observations[one["result"][0]["reference"].split("/")[1]] for one in reports]
    found = [one.get("valueQuantity", {}).get("value") for one in stiffness]
    assert found == truth["stiffness_value"].to_list()
    assert all(("dataAbsentReason" in one) ^ ("valueQuantity" in one) for one in stiffness)


def test_dicom_files_hold_the_truth(demo: Demo) -> None:
    """One report for each exam; DCM 130611 is the shear wave speed (DICOM PS3.16)."""
    truth = demo.truth.sent.filter(pl.col("shape") == "beacon")
    assert truth.height > 50
    for file, exam_no, value_m_s in truth.select(
        "source_file", "exam_no", "stiffness_value"
    ).iter_rows():
        report = pydicom.dcmread(demo.folder / file)
        items = report.ContentSequence[0].ContentSequence
        speeds = [i for i in items if i.ConceptNameCodeSequence[0].CodeValue == "130611"]
        assert report.AccessionNumber == exam_no
        found = [float(one.NumericValue) for one in speeds[0].MeasuredValueSequence]
        assert found == ([] if value_m_s is None else [value_m_s])


def test_speeds_and_relative_attenuation_are_converted_in_the_truth(demo: Demo) -> None:
    """kPa = 3 × (m/s)² at 1 g/cm³; dB/m = 100 × 3.5 MHz × dB/cm/MHz (domain reference part 1)."""
    row = demo.truth.exams.filter(stiffness_unit="m/s", stiffness_value=1.5).row(0, named=True)
    assert row["stiffness_kpa"] == pytest.approx(6.75)
    relative = demo.truth.exams.filter(attenuation_unit="dB/cm/MHz", attenuation_value=0.7)
    assert relative["attenuation_db_m"][0] == pytest.approx(245.0)


def test_times_are_of_the_sites_time_zone(demo: Demo) -> None:
    """In summer London is one hour ahead of UTC, in winter it is not (IANA time zone data)."""
    exams = demo.truth.exams.select("exam_on", pl.col("exam_at").dt.hour().alias("hour"))
    january = exams.filter(pl.col("exam_on").dt.month() == 1)["hour"]
    july = exams.filter(pl.col("exam_on").dt.month() == 7)["hour"]
    assert (january.min(), july.min()) == (8, 7)
    assert (exams["exam_on"].dt.weekday() <= 5).all()


def test_shapes_differ_where_sites_differ() -> None:
    text = [shape for shape in SHAPES if shape.format == FileFormat.CSV]
    assert len({(shape.delimiter, shape.encoding, shape.decimal) for shape in text}) >= 6
    assert len({shape.date_format for shape in text}) >= 6
    assert {shape.stiffness_unit for shape in SHAPES} == {"kPa", "m/s"}
    assert {shape.attenuation_unit for shape in SHAPES} == {"dB/m", "dB/cm/MHz"}
    assert {shape.readings for shape in SHAPES} == {"", "rows", "columns"}


def test_network_file_is_accepted_and_its_rules_exist(demo: Demo) -> None:
    network, definitions = load_network(demo.folder), load_definitions()
    assert network.is_invented
    assert "invented" in network.name
    assert (len(network.sites), len(network.operators), len(network.devices)) == (12, 45, 20)
    assert {one.id for one in network.criteria} <= set(definitions.criteria)
    assert {one.id for one in network.grade_tables} <= set(definitions.grade_tables)
    used = {
        one for site in network.sites for one in (site.profile, *site.profiles_by_ending.values())
    }
    own = {path.stem for path in (demo.folder / "profiles").glob("*.toml")}
    assert own == {shape.id for shape in TABLES}
    assert used == {shape.profile for shape in SHAPES} <= set(load_profiles(demo.folder))


def test_truth_lists_every_file_with_its_hash(demo: Demo) -> None:
    listed = {one["file"]: one["sha256"] for one in demo.truth.facts["files"]}
    found = {
        path.relative_to(demo.folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in (demo.folder / "incoming").rglob("*")
        if path.is_file()
    }
    assert listed == found


def test_truth_has_one_row_per_exam(demo: Demo) -> None:
    exams = demo.truth.exams
    assert exams.select("source_file", "row_no").is_unique().all()
    assert exams.select("site_id", "exam_no").is_unique().all()
    assert 58_000 <= exams.height <= 62_000
    assert exams["operator_id"].n_unique() == 45
    assert exams["device_id"].n_unique() == 20
    assert exams["month"].n_unique() == 36
