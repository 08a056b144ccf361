"""The process that decodes Parquet: kept from file to file, and nothing lost when it dies."""

import io
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest

from qa.model.errors import SourceFileError
from qa.readers import parquet_process
from qa.readers.parquet_process import KEPT, decode_parquet
from tests.robust.network import ROOT

SPOILT = (ROOT / "tests" / "bad_exports" / "broken.parquet").read_bytes()


def parquet(value: int, n_rows: int = 3) -> bytes:
    target = io.BytesIO()
    pl.DataFrame({"a": [value] * n_rows, "b": ["x"] * n_rows}).write_parquet(target)
    return target.getvalue()


def read(value: int) -> int | None:
    """The pid of the process that read a small file right; None where it was refused."""
    try:
        frame = decode_parquet(parquet(value), ["a"], name="a.parquet")
    except SourceFileError as problem:
        return {"INT-025": None}[problem.code]
    assert frame.to_dict(as_series=False) == {"a": [value] * 3}
    return KEPT.pid


@pytest.fixture(autouse=True)
def fresh() -> Iterator[None]:
    KEPT.close()
    yield
    KEPT.close()


def is_alive(pid: int) -> bool:
    return Path(f"/proc/{pid}").exists() if os.path.isdir("/proc") else True


def test_one_process_decodes_many_files_quickly():
    pids = {read(0)}
    start = time.perf_counter()
    pids |= {read(value) for value in range(60)}
    each = (time.perf_counter() - start) / 60
    assert len(pids) == 1
    assert each < 0.05  # 0.004 s on an idle machine; a process for each file takes 0.2 s


def test_damaged_file_leaves_the_process_for_the_next():
    pid = read(1)
    with pytest.raises(SourceFileError, match="INT-025"):
        decode_parquet(SPOILT, ["a"], name="a.parquet")
    assert read(2) == pid


def test_process_killed_between_files_is_replaced_and_no_file_refused():
    first = read(1)
    os.kill(first, signal.SIGKILL)
    second = read(2)
    assert second not in (first, None)
    assert not is_alive(first)


@pytest.fixture
def deadly(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A real process in which a file that begins with DIE ends it at once, as a crash would.

    The word in the file says when: over every such file, or only in a process that is not new.
    """
    text = Path(parquet_process._CHILD).read_text(encoding="utf-8")
    child = tmp_path / "child.py"
    dies = (
        "    global N\n    N += 1\n"
        "    is_deadly = content[:3] == b'DIE'\n"
        "    if is_deadly and (N > 1 or content[3:4] == b'!'): os.kill(os.getpid(), 9)\n"
        "    content = content[4:] if is_deadly else content\n"
    )
    head = "def decode(content: bytes, request: dict) -> tuple[bytes, bytes]:\n"
    assert head in text
    child.write_text(text.replace(head, "N = 0\n" + head + dies), encoding="utf-8")
    monkeypatch.setattr(parquet_process, "_CHILD", child)
    return child


def test_file_that_kills_every_process_is_refused_and_the_rest_goes_on(deadly: Path):
    pid = read(1)
    with pytest.raises(SourceFileError, match="INT-025"):
        decode_parquet(b"DIE!" + parquet(2), ["a"], name="a.parquet")
    assert read(3) not in (pid, None)


def test_file_over_which_only_a_used_process_dies_is_read_in_a_fresh_one(deadly: Path):
    """An earlier file may have spoilt the process; this one is not to blame."""
    pid = read(1)
    frame = decode_parquet(b"DIE?" + parquet(2), ["a"], name="a.parquet")
    assert frame["a"].to_list() == [2] * 3
    assert KEPT.pid != pid


def test_process_killed_at_random_moments_costs_no_file():
    """Crashes in a process that has served others before: nothing refused, nothing mixed up."""
    chance, is_done, killed = random.Random(1), threading.Event(), set[int]()

    def kill() -> None:
        while len(killed) < 5 and not is_done.wait(chance.uniform(0, 0.02)):
            decoder = KEPT._decoder
            if decoder is not None and decoder.n_files > 1 and decoder.pid not in killed:
                os.kill(decoder.pid, signal.SIGKILL)
                killed.add(decoder.pid)

    killer = threading.Thread(target=kill)
    killer.start()
    results = []
    while killer.is_alive() and len(results) < 5000:
        results.append(read(len(results)))
    is_done.set()
    killer.join()
    assert len(killed) == 5
    assert None not in results
    assert read(1) not in killed


def test_process_that_does_not_answer_is_ended(monkeypatch: pytest.MonkeyPatch):
    pid = read(1)
    monkeypatch.setattr(parquet_process, "_SECONDS", 0.3)
    os.kill(pid, signal.SIGSTOP)
    monkeypatch.setattr(parquet_process.Decoder, "__init__", _stopped(parquet_process.Decoder))
    assert read(2) is None
    assert not is_alive(pid)


def _stopped(kind: type):
    works = kind.__init__

    def start(self) -> None:
        works(self)
        os.kill(self.pid, signal.SIGSTOP)

    return start


def test_many_threads_share_one_process():
    results: list[int | None] = []
    threads = [
        threading.Thread(target=lambda value=value: results.append(read(value)))
        for value in range(12)
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(results) == 12
    assert set(results) == {KEPT.pid}


PROGRAM = """
import sys
from tests.robust.test_parquet_process import KEPT, read
read(1)
print(KEPT.pid, flush=True)
sys.stdin.read()
"""


@pytest.mark.parametrize("is_killed", [False, True])
def test_process_ends_with_its_program(is_killed: bool):
    with subprocess.Popen(
        [sys.executable, "-c", PROGRAM],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        text=True,
    ) as program:
        pid = int(program.stdout.readline())
        assert is_alive(pid)
        if is_killed:
            program.kill()
        _, said = program.communicate()
    assert said == ""
    until = time.monotonic() + 10
    while is_alive(pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert not is_alive(pid)
