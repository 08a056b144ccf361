"""Frames kept in memory: read once, bounded, the oldest goes first."""

import polars as pl

from qa.stores.kept_frames import KeptFrames

EIGHT_BYTES = pl.DataFrame({"x": [1]})


def reads_of(kept: KeptFrames, keys: str) -> list[str]:
    """Keys that were read, of those that were asked for in order."""
    read = []

    def read_one(key: str) -> pl.DataFrame:
        read.append(key)
        return EIGHT_BYTES

    for key in keys:
        assert kept.find(key, lambda key=key: read_one(key)) is EIGHT_BYTES
    return read


def test_a_frame_is_read_once() -> None:
    assert reads_of(KeptFrames(), "aabab") == ["a", "b"]


def test_the_one_not_asked_for_longest_goes_first() -> None:
    """Room for two of 8 bytes; a is asked for again, so b goes when c comes."""
    assert reads_of(KeptFrames(most=16), "abacab") == ["a", "b", "c", "b"]


def test_a_large_frame_is_read_each_time() -> None:
    assert reads_of(KeptFrames(largest=7), "aa") == ["a", "a"]
    assert reads_of(KeptFrames(largest=8), "aa") == ["a"]
