"""Follow incoming/: read each file once it is whole, go on whatever happens."""

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from threading import Event

from watchfiles import watch

from qa.jobs.incoming_files import find_incoming
from qa.jobs.intake import run_intake
from qa.jobs.intake_report import IntakeReport
from qa.model.errors import UserError
from qa.stores.settings import NetworkFolder

STEADY_SECONDS = 5.0
LOOK_SECONDS = 30.0
"""How often incoming/ is gone through where the system gives no notice, as on network shares."""
RETRY_SECONDS = 30.0
AGAIN_SECONDS = 6 * 3600.0
"""How often every file is offered anew; intake leaves those alone that it knows."""
_WAKE_MS = 500

Facts = tuple[int, int, int]
"""Size, time of change and inode of a file."""


@dataclass
class SteadyFiles:
    """Which files have stopped changing and were not handed out in this state before.

    Args: seconds: how long a file must look the same.
    """

    seconds: float
    _seen: dict[Path, tuple[Facts, float]] = field(default_factory=dict)
    _done: dict[Path, Facts] = field(default_factory=dict)

    def ready(self, found: Iterable[tuple[Path, Facts]], *, at: float) -> list[Path]:
        """Files that are whole and new, in the order given.

        Args:
            found: all files there are now.
            at: a clock that only goes forward, seconds.
        """
        now = dict(found)
        self._seen = {
            path: self._seen[path] if self._is_same(path, facts) else (facts, at)
            for path, facts in now.items()
        }
        return [path for path in now if self._is_open(path) and self._is_steady(path, at)]

    def _is_same(self, path: Path, facts: Facts) -> bool:
        return path in self._seen and self._seen[path][0] == facts

    def _is_open(self, path: Path) -> bool:
        return self._done.get(path) != self._seen[path][0]

    def _is_steady(self, path: Path, at: float) -> bool:
        return at - self._seen[path][1] >= self.seconds

    @property
    def has_unread(self) -> bool:
        """There are files that are still changing or not done."""
        return any(self._is_open(path) for path in self._seen)

    def done(self, paths: Iterable[Path]) -> None:
        """These were read, as they were when they were handed out."""
        self._done.update({path: self._seen[path][0] for path in paths})

    def offer_again(self) -> None:
        """Hand every file out once more."""
        self._done.clear()


class _Told:
    """Says a trouble once, not each time that it is still there."""

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell = tell
        self._last = ""

    def __call__(self, message: str) -> None:
        if message and message != self._last:
            self._tell(message)
        self._last = message


def watch_incoming(
    folder: Path,
    *,
    key: bytes,
    now: Callable[[], datetime],
    steady_seconds: float = STEADY_SECONDS,
    wait_seconds: float,
    stop: Event,
    on_report: Callable[[IntakeReport], None],
    on_trouble: Callable[[str], None],
) -> None:
    """Read files under incoming/ as they come, until `stop` is set or the user interrupts.

    A file is read when its size and time of change have been the same for `steady_seconds`. A busy
    warehouse, a full disk or a fault in network.toml is said once and tried again; when
    network.toml or a profile changes, every file is offered again.

    Args:
        now: the clock, UTC.
        wait_seconds: how long each attempt waits for a busy warehouse.
        on_report: after each intake that read or refused something.
        on_trouble: a message for the user.
    """
    root = NetworkFolder(folder)
    root.incoming.mkdir(exist_ok=True)
    files, rules, trouble = SteadyFiles(steady_seconds), _facts_of_rules(root), _Told(on_trouble)
    again_at, not_before = time.monotonic() + AGAIN_SECONDS, 0.0
    for _ in _looks(root.incoming, files, stop=stop, tell=on_trouble):
        at = time.monotonic()
        if (new_rules := _facts_of_rules(root)) != rules or at > again_at:
            rules, again_at, not_before = new_rules, at + AGAIN_SECONDS, 0.0
            files.offer_again()
        ready = files.ready(_facts_of_files(root.incoming), at=at)
        if not ready or at < not_before:
            continue
        try:
            report = run_intake(
                folder, files=ready, key=key, known_at=now(), wait_seconds=wait_seconds
            )
        except UserError as problem:
            trouble(f"{problem.message} Tried again every {RETRY_SECONDS:.0f} seconds.")
            not_before = time.monotonic() + RETRY_SECONDS
            continue
        trouble("")
        files.done(ready)
        if report.n_files_read or report.n_files_refused:
            on_report(report)


def _looks(
    incoming: Path, files: SteadyFiles, *, stop: Event, tell: Callable[[str], None]
) -> Iterator[None]:
    """Comes round when something changed, when files are not done, and every LOOK_SECONDS."""
    last = float("-inf")
    for has_change in _wakes(incoming, stop=stop, tell=tell):
        if has_change or files.has_unread or time.monotonic() - last >= LOOK_SECONDS:
            last = time.monotonic()
            yield


def _wakes(incoming: Path, *, stop: Event, tell: Callable[[str], None]) -> Iterator[bool]:
    """Every half second at the latest; True when the system gave notice of a change."""
    try:
        for changes in watch(
            incoming,
            watch_filter=None,
            stop_event=stop,
            rust_timeout=_WAKE_MS,
            yield_on_timeout=True,
            ignore_permission_denied=True,
        ):
            yield bool(changes)
    except OSError:
        tell(f"The system gives no notice of new files; looking every {LOOK_SECONDS:.0f} seconds.")
    while not stop.wait(_WAKE_MS / 1000):
        yield False


def _facts_of_files(incoming: Path) -> Iterator[tuple[Path, Facts]]:
    for path in find_incoming(incoming):
        facts = _facts_of(path)
        if facts is not None:
            yield path, facts


def _facts_of_rules(root: NetworkFolder) -> dict[Path, Facts | None]:
    paths = [root.network_file, *sorted(root.profiles.glob("*.toml"))]
    return {path: _facts_of(path) for path in paths}


def _facts_of(path: Path) -> Facts | None:
    try:
        found = path.lstat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns, found.st_ino
