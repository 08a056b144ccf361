"""The same cases once more, read from the collection of check values where it lies beside."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from qa.stats.intervals import clopper_pearson_interval, newcombe_difference, wilson_interval
from qa.stats.limits import funnel_limits, p_chart_limits
from qa.stats.quantiles import quantile
from qa.stats.runs import run_lengths

REFERENCE = Path(__file__).parents[3] / "shared" / "reference"

pytestmark = pytest.mark.skipif(
    not (REFERENCE / "expected.json").exists(),
    reason="the collection of check values is not beside the project; its values are typed "
    "into the other files of this folder",
)


def expected(case_id):
    return json.loads((REFERENCE / "expected.json").read_text())["cases"][case_id]["expected"]


def rows(name):
    with (REFERENCE / name).open(newline="") as file:
        return list(csv.DictReader(file))


def assert_near(found, entry):
    assert found == pytest.approx(entry["value"], abs=entry["abs_tol"])


@pytest.mark.parametrize(
    ("prefix", "interval"),
    [("wilson", wilson_interval), ("clopper_pearson", clopper_pearson_interval)],
)
def test_intervals_equal_every_shared_case(prefix, interval):
    cases = {
        name: entry
        for name, entry in expected("wilson_clopper_pearson").items()
        if name.startswith(prefix)
    }
    assert len(cases) == 8
    for name, entry in cases.items():
        n_events, n = name.removeprefix(f"{prefix}_").removesuffix("_printed").split("_")
        assert_near(interval(int(n_events), int(n)), entry)


def test_differences_equal_every_shared_case():
    cases = expected("newcombe_difference")
    assert len(cases) == 16
    for name, entry in cases.items():
        first, second = name.removesuffix("_printed").split("_vs_")
        counts = [int(number) for part in (first, second) for number in part.split("_")]
        assert_near(newcombe_difference(*counts), entry)


def test_variable_p_chart_equals_the_shared_case():
    table = rows("p_chart_variable_n_textbook_t7_4.csv")
    n = np.array([int(row["n"]) for row in table])
    errors = np.array([int(row["nonconforming"]) for row in table])
    case = expected("p_chart_variable_n_textbook_t7_4")
    lcl, ucl = p_chart_limits(errors.sum() / n.sum(), n)
    assert_near(lcl.tolist(), case["lcl_by_sample"])
    assert_near(ucl.tolist(), case["ucl_by_sample"])


def test_funnel_limits_equal_every_shared_row():
    table = [
        row
        for row in rows("funnel_exact_limits_spiegelhalter_2005.csv")
        if row["distribution"] == "binomial"
    ]
    assert len(table) == 20
    for row in table:
        p = float(row["p"])
        limits = funnel_limits(
            float(row["target"]), int(row["n_or_expected"]), level=1 - 2 * min(p, 1 - p)
        )
        found = float(limits[1] if p > 0.5 else limits[0])
        assert found == pytest.approx(float(row["interpolated_limit_clamped_at_0"]), abs=1e-8)


def test_quartiles_equal_every_shared_row():
    values = [float(row["x"]) for row in rows("quantile_types_n10_data.csv")]
    for row in rows("quantile_types_n10_results.csv"):
        found = [quantile(values, q, type=int(row["type"])) for q in (0.25, 0.5, 0.75)]
        assert found == pytest.approx(
            [float(row[name]) for name in ("q1", "median", "q3")], abs=1e-9
        )


@pytest.mark.parametrize(("rule_set", "rule", "in_a_row"), [("WE", "4", 8), ("Nelson", "2", 9)])
def test_runs_equal_every_shared_sequence(rule_set, rule, in_a_row):
    table = [
        row
        for row in rows("run_rules_sequences.csv")
        if (row["rule_set"], row["rule"]) == (rule_set, rule)
    ]
    assert table
    for row in table:
        above = np.array([float(z) > 0 for z in row["z_values"].split()])
        lengths = run_lengths(above, np.zeros(len(above), dtype=np.int64))
        hits = np.flatnonzero(lengths >= in_a_row) + 1
        assert (str(hits[0]) if len(hits) else "") == row["first_signal_index_1based"]
