"""What lies under incoming/: every entry comes out, also one that is no file, so none is lost."""

import os
from collections.abc import Iterator
from pathlib import Path


def find_incoming(incoming: Path, site_id: str | None = None) -> list[Path]:
    """Everything under incoming/ but hidden and half-written files, by site and name.

    A site's own folder may be a link (a share that the site writes to). Deeper, links are not
    followed: they come out as they are, as do folders that cannot be opened, and reading them
    says what is wrong.

    Args: site_id: only what this site sent.
    """
    tops = [incoming / site_id] if site_id else _listed(incoming)
    found = [path for top in tops if not _is_hidden(top.name) for path in _under(top)]
    # By stem: "march" comes before "march corrected", whatever sorts before the dot.
    return sorted(found, key=lambda path: (path.parent.parts, path.stem, path.suffix))


def _listed(folder: Path) -> list[Path]:
    return [folder / name for name in os.listdir(folder)] if folder.is_dir() else []


def _under(top: Path) -> Iterator[Path]:
    """The files of a folder; something else is itself what is found."""
    if not top.is_dir():
        if os.path.lexists(top):
            yield top
        return
    unopened: list[OSError] = []
    for folder, folders, names in os.walk(top, onerror=unopened.append):
        folders[:] = [name for name in folders if not _is_hidden(name)]
        links = [name for name in folders if os.path.islink(os.path.join(folder, name))]
        for name in (*names, *links):
            if not _is_hidden(name):
                yield Path(folder, name)
    yield from (Path(problem.filename) for problem in unopened)


def _is_hidden(name: str) -> bool:
    return name.startswith((".", "~$"))


def site_of(path: Path, incoming: Path) -> str | None:
    """The folder under incoming/ that the file lies in; None for a file elsewhere."""
    for of in (os.path.abspath, os.path.realpath):
        try:
            parts = Path(of(path)).relative_to(of(incoming)).parts
        except ValueError:
            continue
        return parts[0] if len(parts) > 1 else None
    return None
