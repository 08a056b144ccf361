import polars as pl
import pytest

from qa.charts.weights import baseline_weights
from qa.model.schemas import BASELINES
from tests.unit.charts.frames import make_baseline


def weigh(*baselines):
    return baseline_weights(pl.concat(baselines).with_row_index("baseline_no"))


PEERS = [make_baseline(n, 100, unit=f"operator:op-{n}") for n in (2, 4, 6, 8, 10)]


def test_baseline_weights_of_a_lone_baseline_are_its_own_exams():
    found = weigh(make_baseline(6, 120))
    assert found.select("event_weight", "other_weight").rows() == [(6.5, 114.5)]


def test_baseline_weights_add_what_five_peers_are_worth():
    """Moments worked by hand in tests/unit/stats/test_prior.py: 7.62 events of 127.06 exams."""
    found = weigh(*PEERS).sort("baseline_no")
    assert found["event_weight"].to_list() == pytest.approx(
        [n + 7.62385 for n in (2, 4, 6, 8, 10)], rel=1e-5
    )


def test_baseline_weights_of_a_borrower_are_those_of_its_kind():
    network = make_baseline(60, 1200, unit="network:network")
    lent = weigh(network, *PEERS).filter(pl.col("baseline_no") == 0)
    by_kind = {row["unit_kind"]: row["event_weight"] for row in lent.to_dicts()}
    assert by_kind["operator"] == pytest.approx(7.62385, rel=1e-5)
    assert by_kind["device"] == by_kind["network"] == 60.5


def test_baseline_weights_of_no_baseline_are_empty():
    assert weigh(BASELINES.empty()).is_empty()
