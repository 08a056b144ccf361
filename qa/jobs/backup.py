"""Back a network up into one file, and restore it where there is no network yet."""

import os
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from qa.model.errors import BackupError, UserError
from qa.model.progress import Progress, show_nothing
from qa.stores.backup_archive import Manifest, unpack_archive, write_archive
from qa.stores.disk import disk_full, flush, is_disk_full, put_in_place
from qa.stores.key import KEY_FILE, load_key
from qa.stores.network_copy import count_network, network_at_rest
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.unpacking import clear_interrupted, move_parts, place_to_unpack
from qa.stores.warehouse_lock import WAIT_SECONDS

STEPS = ("Copying the network", "Reading the backup back")


def run_backup(
    folder: Path,
    archive: Path,
    *,
    with_key: bool,
    environ: Mapping[str, str],
    at: datetime,
    software_version: str,
    wait_seconds: float = WAIT_SECONDS,
    progress: Progress = show_nothing,
) -> Manifest:
    """Write one archive of a network, read it back, and only then give it its name.

    Intake and refresh wait meanwhile; the screens go on.

    Args:
        with_key: put the pseudonym key in; whoever has both can link patients again.
        environ: where the key may stand instead of the folder.
        at: now, UTC.
    Returns: the archive's manifest.
    Raises: BackupError BAK-001 (the file exists), BAK-002 (cannot be written), BAK-003 (disk
        full), WarehouseError (busy), KeyMissing, NetworkFolderError.
    """
    network = load_network(folder)
    if os.path.lexists(archive):
        raise BackupError(
            "there is a file of that name already",
            where=str(archive),
            todo="Give another name; a backup is never written over",
            code="BAK-001",
        )
    key = load_key(folder, environ) if with_key else None
    manifest = Manifest(
        network_id=network.id,
        made_at=at.isoformat(),
        software_version=software_version,
        has_key=with_key,
        counts={},
    )
    unfinished = archive.with_name(f".{archive.name}.unfinished")
    try:
        unfinished.unlink(missing_ok=True)
        progress(0, 2, STEPS[0])
        root = NetworkFolder(folder)
        with network_at_rest(root, key=key, wait_seconds=wait_seconds) as (files, counts):
            write_archive(unfinished, contents=files, manifest=replace(manifest, counts=counts))
        progress(1, 2, STEPS[1])
        manifest = unpack_archive(unfinished)
        put_in_place(unfinished, archive)
    except OSError as problem:
        raise _not_written(problem, archive, kept="no backup was made") from None
    finally:
        unfinished.unlink(missing_ok=True)
    progress(2, 2, STEPS[1])
    return manifest


def _not_written(problem: OSError, where: Path, *, kept: str) -> UserError:
    if is_disk_full(problem):
        return disk_full(BackupError, where=str(where), kept=kept, code="BAK-003")
    reason = problem.strerror or type(problem).__name__
    return BackupError(
        f"cannot be written ({reason})",
        where=str(where),
        expected="a folder that this program may write to",
        todo=f"Name another place; {kept}",
        code="BAK-002",
    )


def run_restore(archive: Path, into: Path, *, progress: Progress = show_nothing) -> Manifest:
    """Unpack a backup beside its place, compare every hash and count, then move it there.

    What an earlier restore left when it was interrupted is cleared away first.

    Args: into: a new folder, or one that holds no part of a network (incoming/ may be there).
    Returns: the archive's manifest.
    Raises: BackupError BAK-002 to BAK-009; nothing is changed then.
    """
    progress(0, 2, "Reading the backup")
    names = _top_names(unpack_archive_of(archive))
    is_new = not into.exists()
    beside = into.parent if is_new else into
    clear_interrupted(beside)
    _require_free(into, names)
    try:
        beside.mkdir(parents=True, exist_ok=True)
        with place_to_unpack(beside) as unpacked:
            progress(1, 2, "Unpacking")
            manifest = unpack_archive(archive, unpacked)
            _require_counts(archive, unpacked, manifest)
            _move(unpacked, into, names, is_new=is_new)
    except OSError as problem:
        raise _not_written(problem, into, kept="nothing was restored") from None
    progress(2, 2, "Unpacking")
    return manifest


def unpack_archive_of(archive: Path) -> Manifest:
    """The manifest of a whole archive. Raises: BackupError BAK-004 also when it is not there."""
    try:
        return unpack_archive(archive)
    except OSError as problem:
        raise BackupError(
            f"the backup cannot be opened ({problem.strerror or type(problem).__name__})",
            where=str(archive),
            expected="a file written by 'elastoqa backup'",
            code="BAK-004",
        ) from None


def _top_names(manifest: Manifest) -> list[str]:
    """What lies directly in the folder; network.toml last, as nothing is a network before it."""
    names = dict.fromkeys(one.name.split("/")[0] for one in manifest.files)
    return sorted(names, key=lambda name: (name == "network.toml", name))


def _require_free(into: Path, names: list[str]) -> None:
    taken = [name for name in names if os.path.lexists(into / name)]
    if taken or (os.path.lexists(into) and not into.is_dir()):
        raise BackupError(
            f"there is a network or a part of one already ({', '.join(taken) or 'no folder'})",
            where=str(into),
            expected="a new folder",
            todo="Name one with --into FOLDER; a network is never written over",
            code="BAK-006",
        )


def _require_counts(archive: Path, unpacked: Path, manifest: Manifest) -> None:
    """The warehouse opens and has as many rows, snapshots and packs as when it was backed up."""
    found = count_network(NetworkFolder(unpacked))
    for name, wanted in manifest.counts.items():
        if found.get(name) != wanted:
            raise BackupError(
                f"found {found.get(name, 0):,} {name}",
                where=str(archive),
                expected=f"{wanted:,}, as the manifest says",
                todo="Take another backup; nothing was changed",
                code="BAK-007",
            )


def _move(unpacked: Path, into: Path, names: list[str], *, is_new: bool) -> None:
    key = unpacked / KEY_FILE
    if key.exists():
        key.chmod(0o600)
    unpacked.chmod(0o755)
    if is_new:
        os.rename(unpacked, into)
        flush(into.parent)
        return
    move_parts(unpacked, into, names)
