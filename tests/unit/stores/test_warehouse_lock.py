"""Waiting for the warehouse: real locks, held by a real second process."""

import logging
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from qa.model.errors import WarehouseError
from qa.stores.warehouse import open_warehouse

HOLDER = """
import duckdb, sys, time
con = duckdb.connect(sys.argv[1])
print("held", flush=True)
time.sleep(float(sys.argv[2]))
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with open_warehouse(tmp_path / "w.duckdb", create=True):
        pass
    return tmp_path / "w.duckdb"


@contextmanager
def held(path: Path, *, seconds: float) -> Iterator[int]:
    command = [sys.executable, "-c", HOLDER, str(path), str(seconds)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        yield holder.pid
        holder.kill()


def test_open_warehouse_waits_until_the_other_program_is_done(
    path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with held(path, seconds=0.6) as pid, open_warehouse(path, wait_seconds=20) as warehouse:
        assert warehouse.files().is_empty()
    [record] = caplog.records
    assert record.levelno == logging.WARNING
    assert f"Another program (process {pid}) is using the warehouse; waiting" in record.message


def test_open_warehouse_gives_up_after_the_stated_time_and_names_the_other(path: Path) -> None:
    start = time.monotonic()
    with (
        held(path, seconds=60) as pid,
        pytest.raises(WarehouseError) as caught,
        open_warehouse(path, wait_seconds=0.5),
    ):
        pass
    assert 0.5 <= time.monotonic() - start < 5
    assert caught.value.code == "WHS-002"
    assert f"process {pid}" in caught.value.message
    assert "try again" in caught.value.message


def test_open_warehouse_that_is_damaged_is_said_at_once(path: Path) -> None:
    path.write_bytes(b"no warehouse")
    start = time.monotonic()
    with pytest.raises(WarehouseError, match="WHS-003"), open_warehouse(path, wait_seconds=60):
        pass
    assert time.monotonic() - start < 5


def test_open_warehouse_closed_by_this_process_is_free_for_the_next(path: Path) -> None:
    """The demo reads, then refreshes, in one process: nothing may hold the file in between."""
    for number in range(20):
        with open_warehouse(path, wait_seconds=0) as warehouse:
            kept = warehouse.files()
        assert kept.is_empty()
        other = f"import duckdb; duckdb.connect({str(path)!r}).close()"
        if number % 10 == 0:
            subprocess.run([sys.executable, "-c", other], check=True)
