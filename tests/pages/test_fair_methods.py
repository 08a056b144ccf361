"""What Methods says of the fair comparison: adjusted for, left out and why, and the models."""

from datetime import UTC, date, datetime

import polars as pl
import pytest

from qa.case_mix.model import fit_model
from qa.case_mix.quality import risk_quality
from qa.views.fair_methods import fair_methods
from qa.views.method import Method
from tests.pages.sample_published import SamplePublished, sample_published
from tests.unit.case_mix.made_up import CRITERIA, counted, random_exams, unreliable


@pytest.fixture(scope="module")
def published() -> SamplePublished:
    """A snapshot with one model, fitted on January and looked at again in February."""
    measure, adjustment = unreliable()
    january = counted(random_exams(3000, seed=20284))
    february = counted(random_exams(3000, seed=20285)).with_columns(month=pl.lit(date(2026, 2, 1)))
    both = pl.concat([january, february])
    fitted = fit_model(
        both,
        measure=measure,
        adjustment=adjustment,
        criteria_id=CRITERIA,
        period=(date(2026, 1, 1), date(2026, 1, 1)),
        in_force_from=date(1900, 1, 1),
        version_no=1,
        set_at=datetime(2026, 3, 1, tzinfo=UTC),
        set_by="test",
        reason="first months",
    )
    assert fitted is not None
    quality, calibration = risk_quality(
        both,
        models=fitted.model,
        coefficients=fitted.coefficients,
        measures={measure.id: measure},
    )
    found = sample_published().with_frame("risk_models", fitted.model)
    found = found.with_frame("risk_coefficients", fitted.coefficients)
    return found.with_frame("risk_quality", quality).with_frame("risk_calibration", calibration)


def of_unreliable(published: SamplePublished) -> dict[str, str]:
    methods: tuple[Method, ...] = fair_methods(published)
    return dict(next(one for one in methods if one.code == "ADJ-001.v1").facts)


def test_every_adjusted_measure_says_what_is_left_out_and_why() -> None:
    methods = fair_methods(sample_published())
    assert len(methods) == 11
    for one in methods:
        facts = dict(one.facts)
        assert any(name.startswith("Not for") for name in facts)
        assert facts["Model"] == "none yet: too few months or events"
    assert "operator's choice" in of_unreliable(sample_published())["Not for probe"]


def test_the_model_is_shown_with_its_odds_ratios_and_its_fit(published: SamplePublished) -> None:
    facts = of_unreliable(published)
    name = f"Model 1, {CRITERIA}"
    assert "judges all months" in facts[name]
    ratios = facts[f"{name}: odds ratios"]
    assert "40 and over: " in ratios
    assert "TE: 1 (reference)," in ratios
    assert "Age – 53 to 64: 1 (reference);" in ratios
    assert "intercept 0.00, slope 1.00" in facts[f"{name}: months it was fitted on"].replace(
        "-0.", "0."
    )
    assert "discrimination (c)" in facts[f"{name}: months since"]
    assert facts[f"{name}: by tenths, months since"].count("→") == 11
