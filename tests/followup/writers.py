"""A process that writes changes as fast as it can, and says of each that it was kept.

All processes write the same records at the same time, so a lost update would show in a count.
`python -m tests.followup.writers FOLDER NAME N`; where the store lies stands in the environment.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from qa.jobs.followup.opening import change_record, load_records, open_record
from qa.model.record import NewEvent
from tests.followup.notes import NOTE, Note

EACH = 20
"""Changes that each process makes to one record before all go on to the next."""

REPO = Path(__file__).parents[2]


def count_up(note: Note | None) -> list[NewEvent]:
    """Read, add one, write: what two people at once would lose without a lock."""
    return [NewEvent("counted", {"words": str(int(note.words) + 1 if note else 1)})]


def write(folder: Path, name: str, n: int) -> None:
    store = open_record(folder, environ=os.environ)
    sys.stdin.readline()
    for number in range(n):
        begin = time.perf_counter()
        with store.writing() as writing:
            change_record(
                writing, NOTE, f"n{number // EACH}", count_up, by=name, at=datetime.now(UTC)
            )
        print(f"{number} {1000 * (time.perf_counter() - begin):.3f}", flush=True)


@dataclass(frozen=True)
class Written:
    """What a process said: milliseconds of each change that was kept, and how it ended."""

    name: str
    kept_ms: tuple[float, ...]
    code: int


def start(folder: Path, name: str, n: int, environ: dict[str, str]) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.followup.writers", str(folder), name, str(n)],
        cwd=REPO,
        env={**os.environ, **environ, "PYTHONPATH": str(REPO)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def go(processes: Sequence[subprocess.Popen]) -> None:
    """Let all begin at once."""
    for one in processes:
        assert one.stdin is not None
        one.stdin.write("go\n")
        one.stdin.flush()


def finish(name: str, process: subprocess.Popen) -> Written:
    out, _ = process.communicate()
    whole = [line for line in out.split("\n")[:-1] if line]
    return Written(name, tuple(float(line.split()[1]) for line in whole), process.returncode)


def kill_after(process: subprocess.Popen, n_kept: int) -> int:
    """Let it keep some changes, then end it at once (SIGKILL); how many it said it had kept."""
    assert process.stdout is not None
    said = [process.stdout.readline() for _ in range(n_kept)]
    process.send_signal(signal.SIGKILL)
    said += process.stdout.read().split("\n")[:-1]
    process.stdout.close()
    assert process.stdin is not None
    process.stdin.close()
    assert process.wait() == -signal.SIGKILL
    return len(said)


def counts_of(folder: Path, environ: dict[str, str]) -> dict[str, tuple[int, int]]:
    """Record → its count, and how many events it has."""
    store = open_record(folder, environ=environ)
    with store.reading() as reading:
        found = {
            note.note_id: (int(note.words), note.n_events) for note in load_records(reading, NOTE)
        }
    store.close()
    return found


if __name__ == "__main__":
    write(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
