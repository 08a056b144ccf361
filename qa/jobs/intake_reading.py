"""Files → what their profiles take of them, one at a time or small ones of a kind together."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path

import polars as pl

from qa.intake.mapping import check_headings
from qa.jobs.intake_slices import Taken, joins_rows, take_columns
from qa.jobs.intake_sources import Source
from qa.model.definitions import Profile
from qa.model.errors import UserError
from qa.model.file_problems import ROW_NO
from qa.model.words import FileFormat
from qa.readers.csv_together import MAX_BYTES, read_together
from qa.readers.read import read_file
from qa.readers.whole_file import read_whole

TOGETHER_BYTES = 32_000_000
FAULTS = (Exception, pl.exceptions.PanicException)
"""What may go wrong with one file without stopping the others."""

Arrival = tuple[Source, str]
"""A file and its SHA-256."""


class ReadAhead:
    """Files that come next, those of a kind read together."""

    def __init__(self) -> None:
        self._taken: dict[Path, Taken] = {}

    def look(self, arrivals: Iterable[Arrival]) -> None:
        """Read what can be read together; what was there before is dropped."""
        self._taken = {}
        # Reading one file after the other shows whose fault it is.
        with suppress(*FAULTS):
            self._taken = take_together(arrivals)

    def take(self, source: Source, file_id: str, profile: Profile) -> Taken:
        """As take_file."""
        return self._taken.pop(source.path, None) or take_file(source, file_id, profile)


def take_file(source: Source, file_id: str, profile: Profile) -> Taken:
    """Read a file and take what its profile maps.

    Raises: SourceFileError, ProfileError.
    """
    content = _content(source, file_id, profile)
    raw = read_file(content, name=source.name, profile=profile)
    headings = [heading for heading in raw.columns if heading != ROW_NO]
    dropped = check_headings(headings, profile=profile, name=source.name)
    rows = take_columns(raw, profile=profile)
    return Taken(rows, 0, rows.height, len(dropped), len(content))


def _content(source: Source, file_id: str, profile: Profile) -> bytes:
    return read_whole(source.path, name=source.name, file_id=file_id, file_format=profile.format)


def in_portions(arrivals: Sequence[Arrival]) -> Iterator[list[Arrival]]:
    """Arrivals in their order, as many at once as may be read together."""
    portion: list[Arrival] = []
    n_bytes = 0
    for arrival in arrivals:
        size = _size(arrival[0].path)
        if portion and n_bytes + size > TOGETHER_BYTES:
            yield portion
            portion, n_bytes = [], 0
        portion.append(arrival)
        n_bytes += size
    if portion:
        yield portion


def _size(path: Path) -> int:
    try:
        return path.lstat().st_size
    except (OSError, ValueError):
        return 0


def take_together(arrivals: Iterable[Arrival]) -> dict[Path, Taken]:
    """Read small delimited texts of the same headings together.

    Returns: what take_file would give, by path, of those in which nothing is odd.
    """
    by_profile: dict[str, list[Arrival]] = {}
    for source, file_id in arrivals:
        profile = source.profile
        if profile is None or profile.format != FileFormat.CSV or joins_rows(profile):
            continue
        if _size(source.path) <= MAX_BYTES:
            by_profile.setdefault(profile.full_id, []).append((source, file_id))
    taken: dict[Path, Taken] = {}
    for some in by_profile.values():
        if len(some) > 1:
            taken |= _take_some(some)
    return taken


def _take_some(arrivals: Sequence[Arrival]) -> dict[Path, Taken]:
    profile = arrivals[0][0].profile
    assert profile is not None
    paths, contents = [], []
    for source, file_id in arrivals:
        try:
            contents.append(_content(source, file_id, profile))
        except UserError:
            continue
        paths.append(source.path)
    taken = {}
    for one in read_together(contents, profile=profile):
        headings = [heading for heading in one.frame.columns if heading != ROW_NO]
        try:
            dropped = check_headings(headings, profile=profile, name="")
        except UserError:
            continue
        table, start = take_columns(one.frame, profile=profile), 0
        for place, n_rows in zip(one.places, one.n_rows, strict=True):
            size = len(contents[place])
            taken[paths[place]] = Taken(table, start, n_rows, len(dropped), size)
            start += n_rows
    return taken
