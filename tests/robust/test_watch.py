"""A real `elastoqa intake --watch`: half files, faulty ones, a busy warehouse, kill -9, Ctrl-C."""

import queue
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from qa.stores.warehouse import open_warehouse
from tests.robust.network import ENVIRON, command, file_text, make_network
from tests.unit.stores.test_warehouse_lock import held

STEADY = "0.6"
PATIENCE = 60


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make_network(tmp_path / "network", n_files=1, n_rows=3)


class Watcher:
    """A child process that watches, and what it says."""

    def __init__(self, child: subprocess.Popen) -> None:
        self.child = child
        self._lines: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        assert self.child.stdout is not None
        for line in self.child.stdout:
            self._lines.put(line)

    def until(self, words: str) -> str:
        """The next line that holds these words."""
        end = time.monotonic() + PATIENCE
        said = []
        while True:
            try:
                said.append(self._lines.get(timeout=max(0.01, end - time.monotonic())))
            except queue.Empty:
                raise AssertionError(f"{words!r} was not said, but: {said}") from None
            if words in said[-1]:
                return said[-1]

    def stop(self, number: signal.Signals) -> int:
        self.child.send_signal(number)
        return self.child.wait(timeout=PATIENCE)


@contextmanager
def watching(folder: Path, *more: str) -> Iterator[Watcher]:
    words = ("intake", "--watch", "--steady", STEADY, "--wait", "0.2", *more)
    with subprocess.Popen(
        command(folder, *words),
        env={**ENVIRON, "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as child:
        watcher = Watcher(child)
        try:
            watcher.until("Watching incoming/")
            yield watcher
        finally:
            child.kill()


def n_exams(folder: Path) -> int:
    with open_warehouse(folder / "warehouse.duckdb", wait_seconds=PATIENCE) as warehouse:
        return warehouse.latest_versions().height


def test_watch_reads_what_is_there_and_what_comes_once_it_is_whole(folder: Path) -> None:
    path = folder / "incoming" / "lantern" / "slow.csv"
    path.parent.mkdir(exist_ok=True)
    text = file_text(5, 40)
    with watching(folder) as watcher:
        watcher.until("3 rows accepted")
        for start in range(0, len(text), len(text) // 6):
            with path.open("a", encoding="utf-8") as file:
                file.write(text[start : start + len(text) // 6])
            time.sleep(0.25)
        # One line: read once, whole, and not as the pieces of rows that were there before.
        assert watcher.until("rows accepted").startswith("40 rows accepted, 0 already known, 0 in")
        assert watcher.stop(signal.SIGINT) == 0
        watcher.until("Stopped.")
    assert n_exams(folder) == 43


def test_watch_goes_on_after_faulty_files_and_a_mended_profile(folder: Path) -> None:
    site = folder / "incoming" / "harbour"
    profile = folder / "profiles" / "plain.toml"
    right = profile.read_text(encoding="utf-8")
    with watching(folder) as watcher:
        watcher.until("3 rows accepted")
        (site / "bad.csv").write_bytes(b"\0\1\2" * 999)
        watcher.until("[INT-003]")
        profile.write_text(right.replace('headings = ["Age"]', 'headings = ["Years"]'))
        (site / "good.csv").write_text(file_text(6, 4), encoding="utf-8")
        watcher.until("[INT-013]")
        profile.write_text("no toml", encoding="utf-8")
        watcher.until("Tried again every")
        profile.write_text(right, encoding="utf-8")
        watcher.until("4 rows accepted")
        assert watcher.stop(signal.SIGTERM) == 0
    assert n_exams(folder) == 7


def test_watch_waits_for_a_busy_warehouse(folder: Path) -> None:
    with watching(folder) as watcher:
        watcher.until("3 rows accepted")
        with held(folder / "warehouse.duckdb", seconds=60) as pid:
            new = folder / "incoming" / "harbour" / "new.csv"
            new.write_text(file_text(6, 4), encoding="utf-8")
            assert f"process {pid}" in watcher.until("[WHS-002]")
        # A change of the rules has it tried at once instead of after half a minute.
        (folder / "network.toml").touch()
        watcher.until("4 rows accepted")
    assert n_exams(folder) == 7


def test_watch_killed_at_any_moment_goes_on_where_it_was(folder: Path) -> None:
    make_network(folder, n_files=12, n_rows=30)
    for seconds in (0.0, 0.5, 0.8, 1.1):
        with watching(folder) as watcher:
            time.sleep(seconds)
            assert watcher.stop(signal.SIGKILL) == -signal.SIGKILL
    with watching(folder) as watcher:
        (folder / "incoming" / "harbour" / "last.csv").write_text(file_text(99, 2))
        watcher.until("rows accepted")
        until = time.monotonic() + PATIENCE
        while n_exams(folder) < 3 + 11 * 30 + 2:
            assert time.monotonic() < until
            time.sleep(0.2)
    assert n_exams(folder) == 3 + 11 * 30 + 2


def test_watch_with_files_is_wrong_use(folder: Path) -> None:
    done = subprocess.run(
        [*command(folder, "intake", "--watch"), "a.csv"],
        env=ENVIRON,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2
    assert "--watch" in done.stderr
