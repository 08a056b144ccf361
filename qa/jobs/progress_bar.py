"""Long work as a bar on a terminal and as plain lines elsewhere."""

import sys
from types import TracebackType
from typing import Self, TextIO

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn


class ProgressBar:
    """Shows how far a job is; call it with steps done, steps in all and a label.

    On a terminal one bar for each title; otherwise a line at the start, at each quarter and at
    the end, so that a log stays short.
    """

    def __init__(self, title: str, stream: TextIO | None = None) -> None:
        self.title = title
        self.stream = stream or sys.stderr
        self._bar: Progress | None = None
        self._last_quarter = -1
        if self.stream.isatty():
            self._bar = Progress(
                TextColumn("{task.description:<34}", markup=False),
                BarColumn(),
                MofNCompleteColumn(),
                TimeElapsedColumn(),
                console=Console(file=self.stream),
            )
            self._task = self._bar.add_task(title, total=None)

    def __enter__(self) -> Self:
        if self._bar:
            self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar:
            self._bar.stop()

    def __call__(self, done: int, total: int, label: str) -> None:
        if self._bar:
            self._bar.update(
                self._task, total=total, completed=done, description=label or self.title
            )
            return
        quarter = 4 * done // total if total else 4
        if quarter > self._last_quarter:
            self._last_quarter = quarter
            print(f"{label or self.title}: {done} of {total}", file=self.stream)
