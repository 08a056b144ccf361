"""Run rules of 1956 and 1984 on published sequences. Sources: cases.toml.

Western Electric Company, Statistical Quality Control Handbook 1956; Nelson LS, J Qual Technol
1984; 16: 237-239. Answers: R qcc, rule sets "western-electric" and "nelson".
"""

import numpy as np
import pytest

from qa.stats.run_rules import RUN_RULES, k_of_m
from tests.reference.cases import all_cases, hold

TABLE = all_cases()["run_rules_sequences"]["data"]
SETS = {"WE": "western-electric", "Nelson": "nelson"}
KEYS = [
    f"{SETS[rule_set]}-{rule}"
    for rule_set, rule in zip(TABLE["rule_set"], TABLE["rule"], strict=True)
]


def first_signal(key, z):
    hits = np.flatnonzero(RUN_RULES[key].finds(np.array(z), np.zeros(len(z), dtype=np.int64)))
    return int(hits[0]) + 1 if len(hits) else "none"


def test_run_rules_call_first_where_the_published_sequences_do():
    found = [first_signal(key, z) for key, z in zip(KEYS, TABLE["z_values"], strict=True)]
    hold("run_rules_sequences", {"first_signal_index": found})


def test_every_published_rule_has_a_sequence_that_it_finds():
    assert set(KEYS) == set(RUN_RULES)


@pytest.mark.parametrize(("key", "z"), list(zip(KEYS, TABLE["z_values"], strict=True)))
def test_run_rules_do_not_look_across_a_new_baseline(key, z):
    """The same sequence in two segments: nothing of the first counts in the second."""
    half = len(z) // 2
    segments = np.repeat([0, 1], [half, len(z) - half]).astype(np.int64)
    both = RUN_RULES[key].finds(np.array(z), segments)
    parts = [
        RUN_RULES[key].finds(np.array(part), np.zeros(len(part), dtype=np.int64))
        for part in (z[:half], z[half:])
    ]
    assert both.tolist() == np.concatenate(parts).tolist()


def test_run_rules_of_no_points_find_nothing():
    nothing = np.zeros(0)
    for rule in RUN_RULES.values():
        assert rule.finds(nothing, nothing.astype(np.int64)).tolist() == []
    assert k_of_m(nothing.astype(bool), nothing.astype(np.int64), k=2, m=3).tolist() == []
