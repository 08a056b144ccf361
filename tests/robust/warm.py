"""Real child processes of the command line that start at once, since they need not import anything.

A server process imports the program and is then copied for each child (multiprocessing's fork
server). A child is a process of its own, as one that was started by its name: it can be killed at
any moment, and only the system cleans up after it. python -m tests.benchmarks kill-intake starts
each by its name.
"""

import multiprocessing
import os
import resource
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from tests.robust.network import ENVIRON, command

_SERVER = multiprocessing.get_context("forkserver")
_SERVER.set_forkserver_preload(["tests.robust.warm_imports"])
_PATIENCE = 120


class WarmChild:
    """What subprocess.Popen is for other children: `output` is what it says, as it says it."""

    def __init__(self, folder: Path, *words: str, file_limit: int | None = None) -> None:
        reading, writing = _SERVER.Pipe(duplex=False)
        argv = command(folder, *words)[3:]
        self._process = _SERVER.Process(target=_run, args=(argv, writing, file_limit))
        self._process.start()
        writing.close()
        self.output: IO[str] = os.fdopen(os.dup(reading.fileno()), encoding="utf-8")
        reading.close()

    @property
    def pid(self) -> int:
        assert self._process.pid is not None
        return self._process.pid

    def send_signal(self, number: signal.Signals) -> None:
        """To a child that has ended by itself, nothing is sent; as subprocess does."""
        with suppress(ProcessLookupError):
            os.kill(self.pid, number)

    def wait(self, timeout: float = _PATIENCE) -> int:
        self._process.join(timeout)
        assert self._process.exitcode is not None
        return self._process.exitcode

    def close(self) -> None:
        self._process.kill()
        self._process.join()
        self._process.close()
        self.output.close()


@contextmanager
def warm_child(folder: Path, *words: str, **more: int | None) -> Iterator[WarmChild]:
    child = WarmChild(folder, *words, **more)
    try:
        yield child
    finally:
        child.close()


@dataclass(frozen=True)
class Done:
    """How a child ended, and what it said on both channels."""

    returncode: int
    output: str


def run_warm(folder: Path, *words: str, file_limit: int | None = None) -> Done:
    """Run a command to its end."""
    with warm_child(folder, *words, file_limit=file_limit) as child:
        said = child.output.read()
        return Done(child.wait(), said)


def _run(argv: list[str], writing, file_limit: int | None) -> None:
    from qa.cli import main

    os.dup2(writing.fileno(), 1)
    os.dup2(writing.fileno(), 2)
    writing.close()
    sys.stdin = open(os.devnull)  # noqa: SIM115
    sys.stdout = open(1, "w", encoding="utf-8", buffering=1, closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", encoding="utf-8", buffering=1, closefd=False)  # noqa: SIM115
    if file_limit is not None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (file_limit, file_limit))
    code = main(argv, ENVIRON)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)
