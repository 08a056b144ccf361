"""Repeats: the same patient again within 90 days after an exam that was not reliable.

Source: proposal of this tool; grounds are the survey's and guidelines' practice of telling
recalls, confirmations and follow-ups apart. A declared follow-up or confirmation is no repeat.
"""

import pytest

from tests.spec.measure_tables import events_and_n

TABLE = """
patient_key  order_type    performed   n_valid  exam_on
ann          first         performed   4        2026-01-05
ann          recall        performed   0        2026-01-12
ann          unknown       performed   10       2026-01-19
ann          unknown       performed   10       2026-01-26
bob          first         performed   10       2026-01-05
bob          unknown       performed   10       2026-01-12
cid          first         performed   4        2026-01-05
cid          follow-up     performed   10       2026-01-12
dan          first         performed   4        2026-01-05
dan          confirmation  performed   10       2026-01-12
eve          first         performed   4        2026-01-05
eve          unknown       performed   10       2026-04-06
fay          first         performed   4        2026-01-05
fay          unknown       refused     -        2026-01-12
gil          first         refused     -        2026-01-05
gil          unknown       performed   10       2026-01-12
"""


def test_repeats_are_counted_at_the_later_exam_of_all_performed() -> None:
    """Only ann comes back in time because her exam was not reliable, twice; eve after 91 days."""
    assert events_and_n("repeats", TABLE) == (2, 14)


@pytest.mark.parametrize("site", ["north", "south"])
def test_a_repeat_at_another_site_is_found(site: str) -> None:
    table = f"""
    patient_key  site_id  n_valid  exam_on
    ann          north    4        2026-01-05
    ann          {site}    10       2026-01-06
    """
    assert events_and_n("repeats", table) == (1, 2)
