"""measure_values: sums, intervals, units; and what the measure files must hold."""

import pytest

from qa.counts import count_months
from qa.measures import leave_out_untold, measure_values
from qa.model.schemas import COUNT_COLUMNS, MEASURE_VALUES, ROW_COUNT_COLUMNS
from qa.model.words import Better, Confidence, UnitKind
from tests.exam_tables import day, definitions, exams_of, judge

MEASURES = definitions().measures
HOMES = {"op-1": "north", "op-2": "south"}
WIDE = {"stiffness_iqr": 2.0}


def values_of(rows: list[dict], *, unit_kind: str = "network", keys: tuple[str, ...] = ()):
    exams = exams_of(rows)
    counts = count_months(exams, judge(exams))
    chosen = [one for one in MEASURES.values() if not keys or one.key in keys]
    return measure_values(counts, measures=chosen, unit_kind=unit_kind, home_sites=HOMES)


def test_measure_values_none_of_twenty_has_the_published_wilson_interval() -> None:
    """Newcombe, Stat Med 1998; 17: 857-872, Table I, Wilson for 0 of 20: 0 to 0.1611."""
    row = values_of([{}] * 20, keys=("unreliable",)).row(0, named=True)
    assert (row["n_events"], row["n"], row["value"]) == (0, 20, 0.0)
    assert (row["lower"], row["upper"]) == (
        pytest.approx(0, abs=1e-12),
        pytest.approx(0.1611, abs=5e-5),
    )


def test_measure_values_without_denominator_is_null() -> None:
    row = values_of([{"n_valid": 3}], keys=("unreliable",)).row(0, named=True)
    assert (row["n"], row["value"], row["lower"], row["upper"]) == (0, None, None, None)


def test_measure_values_no_counts_or_no_measures_gives_full_schema() -> None:
    exams = exams_of([{}]).clear()
    counts = count_months(exams, judge(exams))
    for chosen in ([], list(MEASURES.values())):
        found = measure_values(counts, measures=chosen, unit_kind="site", home_sites={})
        assert found.schema == MEASURE_VALUES.to_polars()
        assert found.is_empty()


def test_leave_out_untold_drops_months_whose_window_lies_before_the_first_exam() -> None:
    """90 days reach three months back; only what counts repeats looks back."""
    rows = [{"exam_on": day(31 * number)} for number in range(6)]
    values = values_of(rows, keys=("unreliable", "repeats"))
    told = leave_out_untold(values, measures=list(MEASURES.values()), window_days=90)
    assert told.filter(measure_id="MSR-001")["month"].dt.month().to_list() == [1, 2, 3, 4, 5, 6]
    assert told.filter(measure_id="MSR-006")["month"].dt.month().to_list() == [4, 5, 6]


ROWS = [
    {"operator_id": "op-1", "site_id": "north"},
    {"operator_id": "op-1", "site_id": "south", **WIDE},
    {"operator_id": "op-2", "site_id": "south"},
    {"operator_id": "op-9", "site_id": "south", "exam_on": day(40)},
]

UNITS = {
    "network": [("network", None, 3), ("network", None, 1)],
    "site": [("north", "north", 1), ("south", "south", 1), ("south", "south", 2)],
    "operator": [("op-1", "north", 2), ("op-2", "south", 1), ("op-9", None, 1)],
    "device": [("dev-1", None, 3), ("dev-1", None, 1)],
}


@pytest.mark.parametrize("unit_kind", UNITS)
def test_measure_values_units_and_home_sites(unit_kind: str) -> None:
    found = values_of(ROWS, unit_kind=unit_kind, keys=("reliable",))
    seen = found.select("unit_id", "site_id", "n").rows()
    assert sorted(seen, key=repr) == sorted(UNITS[unit_kind], key=repr)
    assert found["unit_kind"].unique().to_list() == [unit_kind]


def test_measure_values_sorted_and_unique_by_key() -> None:
    keys = values_of(ROWS, unit_kind="site").select(MEASURE_VALUES.key)
    assert keys.is_unique().all()
    assert keys.equals(keys.sort(MEASURE_VALUES.key))


@pytest.mark.parametrize("measure", MEASURES.values(), ids=lambda one: one.id)
def test_measure_file_is_complete(measure) -> None:
    counted = {*measure.numerator, *measure.denominator}
    kinds = [{column.name for column in kind} for kind in (COUNT_COLUMNS, ROW_COUNT_COLUMNS)]
    assert [counted <= kind for kind in kinds].count(True) == 1
    assert measure.better in set(Better)
    assert measure.confidence in set(Confidence)
    assert set(measure.units) <= set(UnitKind)
    for text in (measure.title, measure.event, measure.why, measure.cause, measure.step):
        assert text.strip() == text != ""
    assert measure.min_n > 0
    assert not (measure.is_watched and (measure.is_grade or measure.better == Better.NEITHER))


def test_measures_have_unique_keys_and_ids_in_a_row() -> None:
    assert list(MEASURES) == [f"MSR-{n:03d}" for n in range(1, len(MEASURES) + 1)]
    assert len({one.key for one in MEASURES.values()}) == len(MEASURES)


@pytest.mark.parametrize("kind", ["criteria", "grade_tables"])
def test_sets_and_tables_carry_version_source_and_confidence(kind: str) -> None:
    for name, one in getattr(definitions(), kind).items():
        assert name == one.id
        assert one.id.endswith(f".v{one.version}")
        assert one.source
        assert one.confidence in set(Confidence)
