"""Runs on one side of the centre line, on published sequences.

Western Electric Company, Statistical Quality Control Handbook 1956, test 4 (eight in a row);
Nelson LS, J Qual Technol 1984; 16: 237-239, test 2 (nine in a row). Answers: R qcc, rule sets
"western-electric" and "nelson".
"""

import numpy as np
import pytest

from qa.stats.runs import run_lengths

SEQUENCES = [
    (8, [0.2, 0.1, 0.4, 0.3, 0.6, 0.1, 0.2, 0.5], 8),
    (8, [0.2, 0.1, 0.4, 0.3, 0.6, 0.1, 0.2, -0.5, 0.1], None),
    (9, [0.2, 0.1, 0.4, 0.3, 0.6, 0.1, 0.2, 0.5, 0.3], 9),
    (9, [0.2, 0.1, 0.4, 0.3, 0.6, 0.1, 0.2, 0.5, -0.3], None),
]


@pytest.mark.parametrize(("in_a_row", "z", "first_signal"), SEQUENCES)
def test_run_lengths_find_the_published_first_signal(in_a_row, z, first_signal):
    above = np.array(z) > 0
    lengths = run_lengths(above, np.zeros(len(z), dtype=np.int64))
    hits = np.flatnonzero(lengths >= in_a_row) + 1
    assert (hits[0] if len(hits) else None) == first_signal
