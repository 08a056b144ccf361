import numpy as np
import pytest

from qa.charts.hits import rule_lists
from qa.charts.rules import CHART_RULES


@pytest.mark.parametrize("rule", CHART_RULES.values(), ids=CHART_RULES.keys())
def test_chart_rules_say_what_they_are_and_where_from(rule):
    assert CHART_RULES[rule.code] is rule
    assert rule.code.startswith("RUL-0")
    assert rule.sentence.endswith(".")
    assert rule.source
    assert rule.state in ("look", "watch")


def test_rule_lists_name_every_rule_of_the_bits():
    codes = list(CHART_RULES)
    lists = rule_lists(np.array([0, 1, 2, 3, 2 ** len(codes) - 1])).to_list()
    assert lists == [[], [codes[0]], [codes[1]], codes[:2], codes]
