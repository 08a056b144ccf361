"""Files made to fill memory or time, sent among good ones through the real command.

Each is refused with its reason, the good ones are read, and the process stays small: its peak
memory is compared with that of a run on the good files alone.
"""

import gzip
import os
import subprocess
from pathlib import Path

import polars as pl
import pytest

from qa.jobs import intake_batch, intake_reading
from qa.jobs.intake import run_intake
from qa.stores.warehouse import open_warehouse
from tests.robust.archives import AT
from tests.robust.network import ENVIRON, HEADINGS, KEY, command, file_text, make_network

MIB = 1024 * 1024
MORE_MEMORY_MB = 500
SECONDS = 60


def write_sparse(path: Path, n_bytes: int) -> None:
    with path.open("wb") as file:
        file.truncate(n_bytes)


def one_long_line(path: Path) -> None:
    path.write_text(f"{HEADINGS}\n{'9' * 200 * MIB}\n", encoding="utf-8")


HOSTILE = {
    "huge.csv": (lambda path: write_sparse(path, 900 * MIB), "INT-020"),
    "endless line.csv": (one_long_line, "INT-022"),
    "bomb.csv.gz": (lambda path: path.write_bytes(gzip.compress(bytes(200 * MIB), 9)), "INT-021"),
    "headings.csv": (lambda path: path.write_text("x," * 400_000 + "\n1\n"), "INT-023"),
    "rows.csv": (lambda path: path.write_text(HEADINGS + "\n" * 60 * MIB), "INT-023"),
    "nul.csv": (lambda path: path.write_bytes(HEADINGS.encode() + b"\na\0b\n"), "INT-007"),
    "quote.csv": (lambda path: path.write_text(f'{HEADINGS}\n"{"a,b" * MIB}'), "INT-022"),
    "link.csv": (lambda path: path.symlink_to("/dev/zero"), "INT-041"),
    "pipe.csv": (os.mkfifo, "INT-042"),
}


def run(folder: Path) -> tuple[int, str, float]:
    """Exit code, messages, and peak memory in MB of one intake as a process."""
    with subprocess.Popen(
        command(folder, "intake"),
        env=ENVIRON,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stderr is not None
        told = child.stderr.read()
        _, status, use = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    assert use.ru_utime + use.ru_stime < SECONDS
    return child.returncode, told, use.ru_maxrss / 1024


def test_intake_refuses_hostile_files_in_little_memory_and_reads_the_rest(tmp_path: Path) -> None:
    plain = make_network(tmp_path / "plain", n_files=2, n_rows=50)
    code, _, usual = run(plain)
    assert code == 0
    folder = make_network(tmp_path / "hostile", n_files=2, n_rows=50)
    for name, (make, _) in HOSTILE.items():
        make(folder / "incoming" / "harbour" / name)
    code, told, peak = run(folder)
    assert code == 11, told
    wanted = sorted(code for _, code in HOSTILE.values())
    found = sorted(line[11:18] for line in told.splitlines() if line.startswith("elastoqa: ["))
    assert found == wanted
    assert "Traceback" not in told
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        assert warehouse.latest_versions().height == 100
    assert peak - usual < MORE_MEMORY_MB


FAULTS = [
    ValueError("Quillfeather 90000001"),
    MemoryError("Quillfeather"),
    RecursionError("Quillfeather"),
    pl.exceptions.PanicException("Quillfeather"),
    pl.exceptions.ComputeError("Quillfeather"),
]

PLACES = ("qa.jobs.intake_reading.read_file", "qa.jobs.intake_batch.map_rows")


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: type(fault).__name__)
@pytest.mark.parametrize("place", PLACES)
def test_intake_fails_on_one_file_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: BaseException, place: str
) -> None:
    """The program itself fails on one file of a batch: it waits, the others are in, once."""
    folder = make_network(tmp_path / "network", n_files=5, n_rows=4)
    (folder / "incoming" / "harbour" / "bad.csv").write_text(file_text(99, 4), encoding="utf-8")
    works = intake_batch.map_rows if "map_rows" in place else intake_reading.read_file

    def fail_on_one(given, **more):
        is_bad = more.get("name") == "bad.csv" if isinstance(given, bytes) else is_of_bad(given)
        if is_bad:
            raise fault
        return works(given, **more)

    def fail_together(*given, **more):
        raise fault

    with monkeypatch.context() as patched:
        patched.setattr(place, fail_on_one)
        if "read_file" in place:
            patched.setattr("qa.jobs.intake_reading.read_together", fail_together)
        report = run_intake(folder, key=KEY.encode(), known_at=AT)
    assert [problem.code for problem in report.problems] == ["INT-043"]
    assert report.has_fault_of_ours
    assert "Quillfeather" not in report.problems[0].message
    assert (report.n_files_read, report.n_accepted) == (5, 20)
    again = run_intake(folder, key=KEY.encode(), known_at=AT)
    assert (again.n_files_known, again.n_accepted, again.is_clean) == (5, 4, True)


def is_of_bad(rows: pl.DataFrame) -> bool:
    return rows["exam_id_text"].str.starts_with("E-99-").any()
