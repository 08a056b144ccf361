"""Published rates: the figures as printed, and beside which measure and criteria set they stand.

Sources: Castera et al., Hepatology 2010 (13,369 exams: failure 3.1 %, unreliable 15.8 %); the open
survey 2017-2018, counted in tests/survey_figures.py.
"""

import pytest

from qa.model.comparison_rate import parse_comparison_rate
from qa.model.errors import DefinitionError
from qa.stores.definitions import load_definitions
from qa.views.rates import rates_text
from tests import survey_figures as survey
from tests.pages.sample_published import sample_published

RATES = load_definitions().rates


@pytest.mark.parametrize(
    ("rate_id", "value", "n"),
    [
        ("castera2010-failed.v1", 0.031, 13369),
        ("castera2010-not-reliable.v1", 0.031 + 0.158, 13369),
        ("survey-2017-failed.v1", survey.FAILED / survey.EXAMINED, survey.EXAMINED),
        ("survey-2017-not-reliable.v1", survey.CENTRE_PERCENT / 100, 5986),
        (
            "survey-2017-large-probe.v1",
            survey.LARGE_PATIENT_PROBE / survey.WITH_PROBE,
            survey.WITH_PROBE,
        ),
    ],
)
def test_the_figure_is_the_published_one(rate_id: str, value: float, n: int) -> None:
    assert RATES[rate_id].value == pytest.approx(value, abs=5e-5)
    assert RATES[rate_id].n == n


@pytest.mark.parametrize(
    ("measure_id", "criteria_id", "n_rates"),
    [
        ("MSR-003", "common-practice.v1", 2),
        ("MSR-003", "classic.v1", 2),
        ("MSR-005", "classic.v1", 1),
        ("MSR-005", "common-practice.v1", 1),
        ("MSR-005", "boursier-2013.v1", 0),
        ("MSR-001", "classic.v1", 0),
    ],
)
def test_a_rate_stands_only_where_definition_and_criteria_match(
    measure_id: str, criteria_id: str, n_rates: int
) -> None:
    text = rates_text(sample_published(), measure_id, criteria_id)
    assert text.count(" exams (") == n_rates
    assert ("no target and no limit" in text) == (n_rates > 0)


def test_a_value_that_is_no_share_is_refused() -> None:
    text = """
    id = "x.v1"
    measure = "MSR-003"
    criteria = []
    value = 3.1
    n = 100
    techniques = ["TE"]
    population = "p"
    definition = "d"
    source = "s"
    confidence = "read in the source"
    """
    with pytest.raises(DefinitionError, match=r"value is 3\.1"):
        parse_comparison_rate(text, where="x.toml")
