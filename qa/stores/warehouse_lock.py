"""One writer at a time: waiting for the warehouse while another program has it."""

import logging
import time
from pathlib import Path

import duckdb

from qa.model.errors import WarehouseError
from qa.stores.warehouse_tables import connect

WAIT_SECONDS = 10.0
BUSY = "WHS-002"
_FIRST_PAUSE, _LONGEST_PAUSE = 0.05, 0.5

_log = logging.getLogger(__name__)


def connect_in_turn(path: Path, *, wait_seconds: float = WAIT_SECONDS) -> duckdb.DuckDBPyConnection:
    """Connect to the warehouse's file, or wait until the program that has it is done.

    A program that has just ended may hold the lock for a moment; the wait covers that too. The
    wait is said once, as a warning in the log, so that nobody looks at a silent command.

    Args:     wait_seconds: how long to try; 0: once.
    Raises:   WarehouseError WHS-002 after the wait; at once for any other trouble.
    """
    until = time.monotonic() + wait_seconds
    pause, is_said = _FIRST_PAUSE, False
    while True:
        try:
            return connect(path)
        except WarehouseError as problem:
            left = until - time.monotonic()
            if problem.code != BUSY or left <= 0:
                raise
            if not is_said and pause > _FIRST_PAUSE:
                is_said = True
                _log.warning("%s; waiting up to %.0f s.", problem.what.capitalize(), left)
        time.sleep(min(pause, left))
        pause = min(2 * pause, _LONGEST_PAUSE)
