"""No case of the collection is skipped silently: each is held here or named with its reason."""

import json
from pathlib import Path

import pytest

from tests.reference.cases import SHARED, all_cases

HELD_ELSEWHERE = {
    "psi_jensen_shannon": "test_mix_statistics.py",
    "pettitt_change_point": "test_mix_statistics.py",
    "change_point_nile": "test_mix_statistics.py",
    "mann_kendall_nile": "test_mix_statistics.py",
    "ks_two_sample_nile": "test_mix_statistics.py",
    "chi2_cramers_v": "test_mix_statistics.py",
    "p_chart_nist_6_3_3_2": "test_p_charts.py",
    "p_chart_variable_n_textbook_t7_4": "test_p_charts.py, test_against_shared.py",
    "wilson_clopper_pearson": "test_intervals.py",
    "newcombe_difference": "test_intervals.py",
    "quantile_types_hyndman_fan": "test_quantiles.py",
    "iqr_median_threshold_flip": "test_quantiles.py",
}
NO_STATISTIC_OF_OURS = {
    "terminal_digit_preference": "integrity checks",
    "shear_wave_speed_to_modulus": "tests/unit/intake holds the conversion",
    "iqr_ratio_kpa_vs_m_s": "tests/unit/intake holds the conversion",
    "attenuation_unit_conversion": "tests/unit/intake holds the conversion",
}


@pytest.fixture(scope="module")
def collected():
    if not (SHARED / "expected.json").exists():
        pytest.skip("the collection of check values is not beside the project")
    return json.loads((SHARED / "expected.json").read_text())["cases"]


def test_every_case_of_the_collection_is_accounted_for(collected):
    assert collected.keys() == all_cases().keys() | HELD_ELSEWHERE.keys() | (
        NO_STATISTIC_OF_OURS.keys()
    )


HERE = Path(__file__).parent
EVERY_CASE = sorted({*all_cases(), *HELD_ELSEWHERE, *NO_STATISTIC_OF_OURS})


def files_that_hold(case_id):
    """Test files of this folder that name the case."""
    return {
        path.name
        for path in HERE.glob("test_*.py")
        if path.name != Path(__file__).name and f'"{case_id}"' in path.read_text(encoding="utf-8")
    }


@pytest.mark.parametrize("case_id", EVERY_CASE)
def test_each_case_is_held_by_a_test_or_named_with_the_stage_that_will(case_id):
    """A case without a statistic of ours yet is held by no test, so that the list stays true."""
    found = files_that_hold(case_id)
    if case_id in NO_STATISTIC_OF_OURS:
        assert not found, f"{case_id} is held by {found}: take it out of the list"
    elif case_id in HELD_ELSEWHERE:
        for name in HELD_ELSEWHERE[case_id].split(", "):
            assert (HERE / name).exists(), name
    else:
        assert found, f"{case_id} is typed in but no test holds it"


def as_typed(value):
    """None is typed as "none": TOML has no empty value."""
    if isinstance(value, list):
        return [as_typed(one) for one in value]
    if isinstance(value, dict):
        return {name: as_typed(one) for name, one in value.items()}
    return "none" if value is None else value


def test_typed_values_equal_the_collection(collected):
    for case_id, case in all_cases().items():
        theirs = collected[case_id]["expected"]
        assert case["expected"].keys() == theirs.keys()
        for name, entry in theirs.items():
            typed = case["expected"][name]
            assert typed["value"] == as_typed(entry["value"]), (case_id, name)
            assert typed["tolerance"] == entry["abs_tol"]
