"""A profile whose quartiles are of another type than those of the criteria set is told of."""

from dataclasses import replace

import numpy as np
import pytest

from qa.intake.quartiles import quartile_remark
from qa.model.definitions import Measurements
from tests.exam_tables import definitions
from tests.unit.intake.invented import profile

COMMON = definitions().criteria["common-practice.v1"]
OTHER = replace(COMMON, id="other.v1", quartile_type=6)


def of_type(kind: int):
    return profile(measurements=Measurements("rows", ("Reading",), kind))


def test_types_differ_by_as_much_as_a_verdict() -> None:
    """By numpy, ten readings are within the limit of 30 % by type 7, and beyond it by type 6."""
    readings = [3.3, 3.9, 4.3, 4.55, 4.9, 5.1, 5.35, 5.7, 6.4, 6.8]
    ratio = {}
    for method in ("weibull", "linear"):  # types 6 and 7
        low, middle, high = np.quantile(readings, [0.25, 0.5, 0.75], method=method)
        ratio[method] = (high - low) / middle
    assert ratio["linear"] < 0.30 < ratio["weibull"]


@pytest.mark.parametrize(
    ("kind", "sets", "words"),
    [
        (7, [COMMON], []),
        (6, [COMMON], ["p.v1", "type 6", "common-practice.v1 by type 7", "quartile_type = 7"]),
        (6, [OTHER, COMMON], ["common-practice.v1 by type 7"]),
        (8, [OTHER, COMMON], ["other.v1, common-practice.v1 by type 6 and 7"]),
        (6, [], []),
    ],
)
def test_quartile_remark(kind: int, sets: list, words: list[str]) -> None:
    remark = quartile_remark(of_type(kind), sets)
    assert bool(remark) == bool(words)
    assert not [word for word in words if word not in remark]


def test_quartile_remark_needs_single_readings() -> None:
    assert quartile_remark(profile(), [COMMON]) == ""
