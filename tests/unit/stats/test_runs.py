import numpy as np
import pytest

from qa.stats.runs import run_lengths, window_sums


@pytest.mark.parametrize(
    ("flags", "segments", "lengths"),
    [
        ([1, 1, 0, 1], [0, 0, 0, 0], [1, 2, 0, 1]),
        ([1, 1, 1, 1], [0, 0, 1, 1], [1, 2, 1, 2]),
        ([0, 0], [0, 0], [0, 0]),
        ([1], [5], [1]),
        ([], [], []),
    ],
)
def test_run_lengths_count_within_segments(flags, segments, lengths):
    found = run_lengths(np.array(flags, dtype=bool), np.array(segments, dtype=np.int64))
    assert found.tolist() == lengths


@pytest.mark.parametrize(
    ("values", "months", "segments", "sums"),
    [
        ([1, 2, 3], [1, 2, 4], [0, 0, 0], [1, 3, 5]),
        ([1, 2, 3, 4], [1, 2, 3, 4], [0, 0, 0, 0], [1, 3, 6, 9]),
        ([1, 2, 3, 4], [1, 2, 3, 4], [0, 0, 1, 1], [1, 3, 3, 7]),
        ([5, 7], [1, 9], [0, 0], [5, 7]),
        ([5], [1], [0], [5]),
        ([], [], [], []),
    ],
)
def test_window_sums_of_three_months(values, months, segments, sums):
    arrays = [np.array(one, dtype=np.int64) for one in (values, months, segments)]
    assert window_sums(*arrays, n_months=3).tolist() == sums
