"""When a file counts as whole: tables of looks at a folder, with a clock of numbers."""

from pathlib import Path

import pytest

from qa.jobs.watch import SteadyFiles

A, B = Path("a.csv"), Path("b.csv")
SMALL, LARGE, NEWER = (10, 1, 7), (20, 2, 7), (20, 3, 7)


@pytest.mark.parametrize(
    ("looks", "ready"),
    [
        ([(0.0, SMALL)], []),
        ([(0.0, SMALL), (4.9, SMALL)], []),
        ([(0.0, SMALL), (5.0, SMALL)], [A]),
        ([(0.0, SMALL), (5.1, SMALL)], [A]),
        ([(0.0, SMALL), (4.0, LARGE), (5.0, LARGE)], []),
        ([(0.0, SMALL), (4.0, LARGE), (9.0, LARGE)], [A]),
        ([(0.0, LARGE), (4.0, NEWER), (5.0, NEWER)], []),
        ([(0.0, SMALL), (3.0, None), (6.0, SMALL)], []),
    ],
)
def test_ready_gives_a_file_that_was_the_same_for_the_time(looks, ready) -> None:
    files = SteadyFiles(5.0)
    for at, facts in looks:
        found = files.ready([] if facts is None else [(A, facts)], at=at)
    assert found == ready


def test_ready_gives_each_state_of_a_file_until_it_is_done() -> None:
    files = SteadyFiles(0.0)
    assert files.ready([(A, SMALL), (B, SMALL)], at=0) == [A, B]
    assert files.ready([(A, SMALL), (B, SMALL)], at=1) == [A, B]
    files.done([A])
    assert files.ready([(A, SMALL), (B, SMALL)], at=2) == [B]
    assert files.ready([(A, LARGE), (B, SMALL)], at=3) == [A, B]
    files.done([A, B])
    assert not files.has_unread
    files.offer_again()
    assert files.ready([(A, LARGE)], at=4) == [A]
