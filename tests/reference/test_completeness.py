"""No case of the collection is skipped silently: each is held here or named with its reason."""

import json

import pytest

from tests.reference.cases import SHARED, all_cases

HELD_ELSEWHERE = {
    "p_chart_nist_6_3_3_2": "test_p_charts.py",
    "p_chart_variable_n_textbook_t7_4": "test_p_charts.py, test_against_shared.py",
    "wilson_clopper_pearson": "test_intervals.py",
    "newcombe_difference": "test_intervals.py",
    "quantile_types_hyndman_fan": "test_quantiles.py",
    "iqr_median_threshold_flip": "test_quantiles.py",
}
NO_STATISTIC_OF_OURS = {
    "bland_altman_limits_1986": "agreement of rounds",
    "repeatability_within_subject_sd_1986": "agreement of rounds",
    "icc_shrout_fleiss": "agreement of rounds",
    "gauge_rr_aiag": "agreement of rounds",
    "weighted_kappa_cohen_1968": "agreement of rounds",
    "weighted_kappa_fleiss_cohen_everitt_1969": "agreement of rounds",
    "fleiss_kappa_1971": "agreement of rounds",
    "algorithm_a_copper_amc": "inter-site rounds",
    "algorithm_a_creosote": "inter-site rounds",
    "score_formulas_iso_13528": "inter-site rounds",
    "westgard_sequences": "phantom checks",
    "chi2_cramers_v": "grade mix",
    "ks_two_sample_nile": "drift of values",
    "mann_kendall_nile": "drift of values",
    "change_point_nile": "drift of values",
    "pettitt_change_point": "drift of values",
    "psi_jensen_shannon": "grade mix",
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
