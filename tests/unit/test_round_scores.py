"""Assigned values, scores, performance, and pairs of exams."""

from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from qa.drift.agreement_study import agreement_parts, band_kappa, find_pairs, study_parts
from qa.drift.round_scores import (
    Assigned,
    RoundResult,
    assign_value,
    performance,
    score_round,
)
from qa.model.equipment_words import AssignedBy

CERTIFICATE, CONSENSUS = AssignedBy.CERTIFICATE, AssignedBy.CONSENSUS


def test_consensus_of_three_is_refused_in_words():
    found = assign_value([5.0, 5.1, 5.2], by=CONSENSUS, sigma=0.2)
    assert found.value is None
    assert found.words == "3 participants are too few for a consensus: use a certified phantom"
    assert score_round([RoundResult("D1", "S1", 5.0)], found).scores[0].score is None


@pytest.mark.parametrize(("n", "is_weak"), [(4, True), (7, True), (8, False)])
def test_consensus_of_few_is_shown_as_weak(n, is_weak):
    found = assign_value(list(np.linspace(5, 5.5, n)), by=CONSENSUS, sigma=0.2)
    assert found.is_weak is is_weak
    assert ("weak" in found.words) is is_weak


def test_certificate_with_three_participants_gives_only_en_without_sigma():
    found = assign_value([5.0, 5.1, 5.9], by=CERTIFICATE, sigma=None, certified=(5.0, 0.2))
    assert (found.value, found.uncertainty, found.sigma) == (5.0, 0.1, None)
    scored = score_round([RoundResult("D1", "S1", 5.6, 0.15)], found).scores[0]
    assert (scored.z, scored.verdict) == (None, None)
    # Typed from the worked case of ISO 13528's formulas: 0.6 / sqrt(0.3² + 0.2²).
    assert scored.en == pytest.approx(1.66410, abs=1e-5)
    assert scored.en_verdict == "action"
    assert assign_value([5.0], by=CERTIFICATE, sigma=None).value is None


@pytest.mark.parametrize(("u", "used", "score"), [(0.1, "z′", 2.22834), (0.07, "z", 2.4)])
def test_score_is_z_prime_where_the_assigned_value_is_uncertain(u, used, score):
    assigned = Assigned(5.0, u, 0.25, CERTIFICATE, "")
    scored = score_round([RoundResult("D1", "S1", 5.6)], assigned).scores[0]
    assert (scored.used, scored.verdict) == (used, "warning")
    assert scored.score == pytest.approx(score, abs=1e-5)
    assert (scored.zeta, scored.en, scored.en_verdict) == (None, None, None)


def test_performance_over_rounds_finds_a_lasting_bias():
    """Scores 1.8 in four rounds: none is a warning, their sum over √4 is 3.6."""
    assigned = Assigned(5.0, 0.01, 0.5, CERTIFICATE, "")
    results = [RoundResult("D1", "S1", 5.9), RoundResult("D2", "S2", 5.1)]
    found = performance([score_round(results, assigned)] * 4)
    assert [(one.participant, one.n_action, one.is_biased) for one in found] == [
        ("D1", 0, True),
        ("D2", 0, False),
    ]
    assert found[0].rescaled_sum == pytest.approx(3.6)
    assert performance([]) == []


def exam(patient="P1", operator="A", kpa=6.0, **more):
    told = {
        "exam_key": f"{patient}{operator}",
        "patient_key": patient,
        "exam_on": date(2026, 3, 2),
        "exam_at": datetime(2026, 3, 2, 8 if operator == "A" else 9, tzinfo=UTC),
        "site_id": "S1",
        "operator_id": operator,
        "technique": "TE",
        "probe": "standard",
        "outcome": "reliable",
        "stiffness_kpa": kpa,
        "stiffness_band": 1,
        "stiffness_table_id": "t.v1",
        "is_stiffness_censored": False,
        "is_date_nominal": False,
    }
    return told | more


@pytest.mark.parametrize(
    "other",
    [
        {"operator": "A", "exam_key": "x"},
        {"patient": "P2"},
        {"exam_on": date(2026, 3, 3)},
        {"technique": "pSWE"},
        {"probe": "large-patient"},
        {"outcome": "unreliable"},
        {"is_stiffness_censored": True},
        {"kpa": None},
    ],
)
def test_only_pairs_of_one_patient_day_and_technique_by_two_operators_count(other):
    assert find_pairs(pl.DataFrame([exam(), exam(operator="B", kpa=7.0)])).height == 1
    second = exam(**{"operator": "B", "kpa": 7.0} | other)
    assert find_pairs(pl.DataFrame([exam(), second], infer_schema_length=None)).is_empty()


def test_pair_keeps_order_in_time_and_bands_of_one_table_only():
    exams = pl.DataFrame([exam(operator="B", kpa=7.0, stiffness_table_id="t.v2"), exam()])
    row = find_pairs(exams).row(0, named=True)
    assert (row["first_operator"], row["first_kpa"], row["second_kpa"]) == ("A", 6.0, 7.0)
    assert (row["first_band"], row["second_band"]) == (None, None)
    assert find_pairs(exams.clear()).is_empty()


def test_agreement_is_split_by_the_mean_of_the_pair():
    first = [5, 6, 7, 8, 8.9, 20, 21, 22, 23, 24]
    second = [5.5, 6.5, 7.5, 8.5, 9.2, 22, 23, 24, 25, 26]
    everything, low, high = agreement_parts(first, second)
    assert (everything.n, low.n, high.n) == (10, 4, 6)
    assert low.differences is None
    # 9.05 belongs above; differences 0.3 and five times 2: mean 10.3 / 6.
    assert high.differences.mean == pytest.approx(10.3 / 6)
    assert [one.model for one in high.icc] == ["ICC(1,1)", "ICC(2,1)"]
    assert agreement_parts([], [])[0].n == 0


def test_kappa_of_bands_needs_pairs():
    assert band_kappa([0, 1], [0, 1]) is None
    kappa, n = band_kappa([0, 1, 2, 0, 1], [0, 1, 2, 0, 1])
    assert (kappa.value, n) == (pytest.approx(1.0), 5)


def test_study_must_be_crossed():
    with pytest.raises(ValueError, match="equally often"):
        study_parts(["a", "a", "b"], ["x", "y", "x"], [1.0, 1.0, 1.0])
