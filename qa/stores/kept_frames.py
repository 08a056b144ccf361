"""Frames of a snapshot that were read lately, kept in memory: a snapshot never changes."""

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock

import polars as pl

LARGEST_MB, ALL_MB = 8, 96
_MB = 1024**2


class KeptFrames:
    """The newest frames up to ALL_MB; larger ones than LARGEST_MB are read anew each time.

    Callers share a frame, so they must not change it in place; polars' own operations do not.
    """

    def __init__(self, *, largest: int = LARGEST_MB * _MB, most: int = ALL_MB * _MB) -> None:
        self._largest, self._most = largest, most
        self._lock = Lock()
        self._frames: OrderedDict[object, tuple[pl.DataFrame, int]] = OrderedDict()
        self._size = 0

    def find(self, key: object, read: Callable[[], pl.DataFrame]) -> pl.DataFrame:
        """The frame of a key, read where it is not there.

        Two threads may read the same one at once; both get the same rows.
        """
        with self._lock:
            if key in self._frames:
                self._frames.move_to_end(key)
                return self._frames[key][0]
        frame = read()
        size = int(frame.estimated_size())
        if size <= self._largest:
            self._keep(key, frame, size)
        return frame

    def _keep(self, key: object, frame: pl.DataFrame, size: int) -> None:
        with self._lock:
            if key in self._frames:
                return
            self._frames[key] = (frame, size)
            self._size += size
            while self._size > self._most:
                _, (_, gone) = self._frames.popitem(last=False)
                self._size -= gone
