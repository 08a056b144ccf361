"""The files as sites would send them, read here by the standard library and not by the program."""

import csv
import hashlib
import io
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from demo_sites.shapes import SHAPES
from qa.stores.definitions import load_definitions
from qa.stores.settings import load_network, load_profiles
from tests.planted.conftest import Demo

SHAPE_IDS = [shape.id for shape in SHAPES]
PROFILES = Path(__file__).parents[2] / "demo_sites" / "profiles"
IDENTIFYING = ("name", "family_name", "given_name", "born_on", "comment")


def profile_of(shape_id: str) -> dict[str, Any]:
    return tomllib.loads((PROFILES / f"{shape_id}.toml").read_text(encoding="utf-8"))


def rows_of(path: Path, profile: dict[str, Any]) -> Iterator[dict[str, str]]:
    rules = profile["file"]
    text = path.read_bytes().decode(rules["encoding"])
    body = "".join(text.splitlines(keepends=True)[rules["header_row"] - 1 :])
    yield from csv.DictReader(io.StringIO(body, newline=""), delimiter=rules["delimiter"])


def files_of(demo: Demo, shape_id: str) -> list[Path]:
    network = load_network(demo.folder)
    sites = [site.id for site in network.sites if site.profile == shape_id]
    return [demo.folder / f"incoming/{site}/{site}_2026-03.csv" for site in sites]


def value(row: dict[str, str], target: str, profile: dict[str, Any]) -> str | None:
    """What a profile makes of one cell: missing signs, codes and the decimal sign."""
    column = profile["columns"].get(target)
    if column is None:
        return None
    if "constant" in column:
        return str(column["constant"])
    cell = row[column["headings"][0]]
    if cell in profile["file"]["missing"]:
        return column.get("missing_as")
    if "codes" in column:
        return str(column["codes"][cell])
    return cell.replace(profile["file"]["decimal"], ".")


@pytest.mark.parametrize("shape_id", SHAPE_IDS)
def test_profile_names_every_heading_once(demo: Demo, shape_id: str) -> None:
    profile = profile_of(shape_id)
    mapped = [one for c in profile["columns"].values() for one in c.get("headings", [])]
    for path in files_of(demo, shape_id):
        headings = list(next(rows_of(path, profile)))
        assert sorted(headings) == sorted(mapped + profile["ignore"])


@pytest.mark.parametrize("shape", SHAPES, ids=SHAPE_IDS)
def test_profile_ignores_what_identifies(shape: Any) -> None:
    """Names, birth dates and free text stand in every shape, and in `ignore` of its profile."""
    identifying = {heading for heading, column in shape.headings if column in IDENTIFYING}
    assert identifying == set(profile_of(shape.id)["ignore"])
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


@pytest.mark.parametrize("shape_id", SHAPE_IDS)
def test_files_hold_the_truth_row_by_row(demo: Demo, shape_id: str) -> None:
    profile = profile_of(shape_id)
    for path in files_of(demo, shape_id):
        name = path.relative_to(demo.folder).as_posix()
        truth = demo.truth.sent.filter(source_file=name).sort("row_no")
        rows = list(rows_of(path, profile))
        assert len(rows) == truth.height > 0
        for target, column in COMPARED:
            if target not in profile["columns"]:
                continue
            expected = truth[column].to_list()
            found: list[Any] = [value(row, target, profile) for row in rows]
            if truth[column].dtype != pl.String:
                found = [None if one is None else float(one) for one in found]
            assert found == expected, f"{name}: {target}"


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
    for name in ("delimiter", "encoding", "date_format"):
        assert len({getattr(shape, name) for shape in SHAPES}) == len(SHAPES), name
    assert {shape.decimal for shape in SHAPES} == {".", ","}
    assert {shape.stiffness_unit for shape in SHAPES} == {"kPa", "m/s"}
    assert {shape.attenuation_unit for shape in SHAPES} == {"dB/m", "dB/cm/MHz"}


def test_network_file_is_accepted_and_its_rules_exist(demo: Demo) -> None:
    network, definitions = load_network(demo.folder), load_definitions()
    assert network.is_invented
    assert "invented" in network.name
    assert (len(network.sites), len(network.operators), len(network.devices)) == (12, 45, 20)
    assert {one.id for one in network.criteria} <= set(definitions.criteria)
    assert {one.id for one in network.grade_tables} <= set(definitions.grade_tables)
    assert {site.profile for site in network.sites} == set(load_profiles(demo.folder))


def test_truth_lists_every_file_with_its_hash(demo: Demo) -> None:
    listed = {one["file"]: one["sha256"] for one in demo.truth.facts["files"]}
    found = {
        path.relative_to(demo.folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in (demo.folder / "incoming").rglob("*.csv")
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
