"""Files of the network itself that somebody may name as an export by mistake.

They are told by place and by inode, before anything is opened: closing a handle on the open
warehouse would end the lock of this process on it, so that a second writer could come in.
"""

import os
from collections.abc import Iterable
from pathlib import Path

from qa.model.errors import WrongUse
from qa.stores.key import KEY_FILE
from qa.stores.settings import NetworkFolder

_FOLDERS = {
    "profiles": "a profile",
    "snapshots": "a published snapshot",
    "packs": "an audit pack",
}
_FILES = {"network.toml": "network.toml itself", KEY_FILE: "the pseudonym key"}


def refuse_own_files(root: NetworkFolder, paths: Iterable[Path]) -> None:
    """Raises: WrongUse USE-030 when one of the paths is a file of the network itself."""
    for path in paths:
        found = _find_own(path, root)
        if found is not None:
            raise _refusal(*found)


def refuse_warehouse_links(root: NetworkFolder, paths: Iterable[Path]) -> None:
    """The same for what lies in incoming/: a second name of the warehouse (a hard link).

    Raises: WrongUse USE-030.
    """
    own = _inode(root.warehouse)
    for path in paths:
        if own is not None and _inode(path) == own:
            raise _refusal("a file in incoming/", "the warehouse under another name")


def _find_own(path: Path, root: NetworkFolder) -> tuple[str, str] | None:
    """The file's name in the network folder, and what it is; None: nothing of the network's."""
    real = Path(os.path.realpath(path))
    own = _inode(root.warehouse)
    if own is not None and own in (_inode(path), _inode(real)):
        return root.warehouse.name, "the warehouse"
    try:
        name = real.relative_to(os.path.realpath(root.root))
    except ValueError:
        return None
    first = name.parts[0] if name.parts else ""
    kind = _FOLDERS.get(first) or _FILES.get(first)
    if first.startswith(root.warehouse.name):
        kind = "a part or copy of the warehouse"
    return (name.as_posix(), kind) if kind else None


def _inode(path: Path) -> tuple[int, int] | None:
    try:
        facts = os.lstat(path)
    except (OSError, ValueError):
        return None
    return facts.st_dev, facts.st_ino


def _refusal(where: str, kind: str) -> WrongUse:
    return WrongUse(
        f"this is {kind}, no export of a site",
        where=where,
        expected="a file that a site sent",
        todo="Name another file, or none to read everything under incoming/; nothing was opened",
        code="USE-030",
    )
