"""fit_model against statsmodels on rows; levels with too little or that are not told apart."""

from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from qa.case_mix.expected import expected_shares
from qa.case_mix.model import FittedModel, fit_model
from tests.unit.case_mix.made_up import CRITERIA, case_mix, counted, random_exams, unreliable

MONTH = date(2026, 1, 1)


def fit(counts: pl.DataFrame) -> FittedModel | None:
    measure, adjustment = unreliable()
    return fit_model(
        counts,
        measure=measure,
        adjustment=adjustment,
        criteria_id=CRITERIA,
        period=(MONTH, MONTH),
        in_force_from=MONTH,
        version_no=1,
        set_at=datetime(2026, 3, 1, tzinfo=UTC),
        set_by="test",
        reason="test",
    )


def coefficients(model: FittedModel) -> dict[tuple[str, str], tuple]:
    columns = ("covariate", "level", "role", "coefficient", "standard_error")
    rows = model.coefficients.select(columns).iter_rows()
    return {(row[0], row[1]): row[2:] for row in rows}


def test_coefficients_and_errors_are_those_of_statsmodels_on_rows() -> None:
    exams = random_exams(4000, seed=20281)
    found = fit(counted(exams))
    assert found is not None
    known = coefficients(found)
    names = [pair for pair, row in known.items() if row[0] == "estimated"]
    design = [
        np.ones(4000) if name == "intercept" else (exams[name] == level).to_numpy()
        for name, level in names
    ]
    y = exams["is_unreliable"].to_numpy().astype(float)
    other = sm.GLM(y, np.column_stack(design).astype(float), family=sm.families.Binomial())
    theirs = other.fit(tol=1e-14)
    ours = np.array([known[pair][1:] for pair in names])
    assert len(names) == 5
    assert ours[:, 0] == pytest.approx(theirs.params, abs=1e-9)
    assert ours[:, 1] == pytest.approx(theirs.bse, abs=1e-9)
    assert found.model["deviance"][0] == pytest.approx(theirs.deviance, abs=1e-6)


def test_expected_events_add_up_to_those_found_in_every_level() -> None:
    counts = counted(random_exams(4000, seed=20282))
    model = fit(counts)
    assert model is not None
    expected = expected_shares(counts, model.coefficients) * counts["n_measured"]
    gap = counts.with_columns(gap=counts["n_unreliable"] - expected)
    for covariate in ("bmi", "sex", "technique"):
        sums = gap.group_by(covariate).agg(pl.col("gap").sum())["gap"]
        assert sums.to_list() == pytest.approx([0.0] * sums.len(), abs=1e-6)


ROWS = [
    {"bmi": "under 25", "n_measured": 900, "n_unreliable": 60},
    {"bmi": "40 and over", "n_measured": 300, "n_unreliable": 60},
]


@pytest.mark.parametrize(
    ("row", "role"),
    [
        ({"bmi": "unknown", "n_measured": 30, "n_unreliable": 5}, "estimated"),
        ({"bmi": "unknown", "n_measured": 29, "n_unreliable": 5}, "folded"),
        ({"bmi": "unknown", "n_measured": 400, "n_unreliable": 4}, "folded"),
        ({"bmi": "unknown", "n_measured": 400, "n_unreliable": 0}, "folded"),
        ({"bmi": "unknown", "n_measured": 40, "n_unreliable": 36}, "folded"),
    ],
)
def test_a_level_needs_thirty_exams_and_five_of_each_kind(row: dict, role: str) -> None:
    model = fit(case_mix([*ROWS, row]))
    assert model is not None
    found = coefficients(model)["bmi", "unknown"]
    assert found[0] == role
    assert (found[1] == 0.0) == (role == "folded")
    assert np.abs(model.coefficients["coefficient"]).max() < 6


def test_levels_that_always_come_together_are_not_told_apart() -> None:
    """Who was not sent a body-mass index was not sent an age either."""
    unsent = {"bmi": "unknown", "age": "unknown", "n_measured": 100, "n_unreliable": 20}
    model = fit(case_mix([*ROWS, unsent]))
    assert model is not None
    found = coefficients(model)
    assert found["bmi", "unknown"][0] == "estimated"
    assert found["age", "unknown"][:2] == ("not separable", 0.0)
    p = expected_shares(case_mix([unsent]), model.coefficients)
    assert p[0] == pytest.approx(0.2)


def test_too_few_events_give_no_model() -> None:
    assert fit(case_mix([{"n_measured": 2000, "n_unreliable": 49}])) is None
    assert fit(case_mix([{"n_measured": 2000, "n_unreliable": 50}])) is not None


def test_a_level_that_the_model_does_not_know_counts_as_the_reference() -> None:
    model = fit(case_mix(ROWS))
    assert model is not None
    both = case_mix([{"bmi": "under 25"}, {"bmi": "30 to under 35"}])
    known, new = expected_shares(both, model.coefficients)
    assert known == pytest.approx(new) == pytest.approx(60 / 900)
