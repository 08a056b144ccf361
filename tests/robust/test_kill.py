"""kill -9 at random moments: nothing is lost, nothing is in twice, screens always have something.

A few here; python -m tests.benchmarks kill-intake kills hundreds and prints what it met.
"""

from pathlib import Path

from tests.robust.killing import kill_intakes, kill_refreshes


def test_intake_killed_at_random_moments_loses_nothing(tmp_path: Path) -> None:
    toll = kill_intakes(tmp_path, n_kills=14, seed=1, files_each=2, n_rows=40)
    assert toll.n_kills == 14


def test_refresh_killed_at_random_moments_always_leaves_a_readable_snapshot(
    tmp_path: Path,
) -> None:
    toll = kill_refreshes(tmp_path, n_kills=6, seed=1, n_rows=20)
    assert toll.n_kills >= 6
