"""Backup archives: a tar file under zstd, whose last member is a manifest of all others.

The manifest holds name, size and SHA-256 of every file and how many rows each table has, so an
archive that is cut off, changed or swapped is told from a whole one. Archives are readable by their
owner only. `tar --zstd -xf` reads them too.
"""

import hashlib
import io
import json
import os
import tarfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path, PurePosixPath
from typing import IO, Any

import pyarrow as pa

from qa.model.errors import BackupError
from qa.stores.disk import flush

FORMAT_VERSION = 1
MANIFEST = "manifest.json"
_ENDS_TOO_SOON = (OSError, EOFError, tarfile.TarError, ValueError, pa.ArrowException)
_PIECE = 1024 * 1024


@dataclass(frozen=True)
class KeptFile:
    """One file of a backup; name: with / between folders, from the network folder on."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """What a backup holds. counts: rows of each table of the warehouse, and how many snapshots
    and packs there are."""

    network_id: str
    made_at: str
    software_version: str
    has_key: bool
    counts: dict[str, int]
    files: list[KeptFile] = field(default_factory=list)
    format_version: int = FORMAT_VERSION


class _Hashing:
    """A file that is read through; knows the hash of what went by."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._digest = hashlib.sha256()

    def read(self, n_bytes: int = -1) -> bytes:
        piece = self._file.read(n_bytes)
        self._digest.update(piece)
        return piece

    @property
    def sha256(self) -> str:
        return self._digest.hexdigest()


def write_archive(
    path: Path, *, contents: Sequence[tuple[str, IO[bytes]]], manifest: Manifest
) -> Manifest:
    """Write an archive; it is complete and flushed when this returns.

    Args:     contents: name and open file of each; the files are not closed here.
    Returns:  the manifest with its files.
    Raises:   OSError (also from pyarrow) when it cannot be written.
    """
    kept = []
    with (
        _new_private_file(path) as raw,
        pa.CompressedOutputStream(raw, "zstd") as stream,
        tarfile.open(fileobj=stream, mode="w|", format=tarfile.PAX_FORMAT) as archive,
    ):
        for name, file in contents:
            size = file.seek(0, os.SEEK_END)
            file.seek(0)
            reading = _Hashing(file)
            archive.addfile(_member(name, size), reading)
            kept.append(KeptFile(name, size, reading.sha256))
        manifest = replace(manifest, files=kept)
        text = json.dumps(asdict(manifest), indent=1).encode()
        archive.addfile(_member(MANIFEST, len(text)), io.BytesIO(text))
    flush(path)
    return manifest


@contextmanager
def _new_private_file(path: Path) -> Iterator[IO[bytes]]:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        yield file


def _member(name: str, size: int) -> tarfile.TarInfo:
    member = tarfile.TarInfo(name)
    member.size, member.mode = size, 0o600
    return member


def unpack_archive(path: Path, into: Path | None = None) -> Manifest:
    """Read an archive to its end and compare every file with the manifest.

    Args:     into: an empty folder that the files are written to; None: only look.
    Raises:   BackupError BAK-004 (no backup, damaged, cut off), BAK-005 (a file is not what the
              manifest says), BAK-008 (newer program). OSError when `into` cannot be written.
    """
    found: dict[str, KeptFile] = {}
    manifest: Manifest | None = None
    for name, file in _members(path):
        if manifest is not None or name in found:
            raise _differs(path, name)
        if name == MANIFEST:
            manifest = _parse_manifest(file.read(), path=path)
        else:
            found[name] = _keep(name, file, into)
    if manifest is None:
        raise _no_backup(path, "it ends before its manifest")
    listed = {one.name: one for one in manifest.files}
    for name in sorted({*found, *listed}):
        if found.get(name) != listed.get(name):
            raise _differs(path, name)
    return manifest


def _members(path: Path) -> Iterator[tuple[str, IO[bytes]]]:
    """Name and content of each member, while nothing but plain files with plain names comes."""
    with path.open("rb") as raw:
        try:
            with (
                pa.CompressedInputStream(raw, "zstd") as stream,
                tarfile.open(fileobj=stream, mode="r|") as archive,
            ):
                for member in archive:
                    file = archive.extractfile(member) if member.isreg() else None
                    if file is None or not _is_plain(member.name):
                        raise _no_backup(path, "it holds something else than plain files")
                    yield member.name, _Reading(file, path)  # type: ignore[misc]
        except _ENDS_TOO_SOON as problem:
            raise _no_backup(path, "it is damaged or cut off") from problem


class _Reading:
    """A member; trouble while reading it is the archive's, not that of whoever writes it out."""

    def __init__(self, file: IO[bytes], path: Path) -> None:
        self._file, self._path = file, path

    def read(self, n_bytes: int = -1) -> bytes:
        try:
            return self._file.read(n_bytes)
        except _ENDS_TOO_SOON:
            raise _no_backup(self._path, "it is damaged or cut off") from None


def _is_plain(name: str) -> bool:
    parts = PurePosixPath(name).parts
    return bool(parts) and name == "/".join(parts) and not {"..", "/", "\\"} & {*parts, name[0]}


def _keep(name: str, file: Any, into: Path | None) -> KeptFile:
    reading, size = _Hashing(file), 0
    target = None
    if into is not None:
        place = into / name
        place.parent.mkdir(parents=True, exist_ok=True)
        rights = 0o600 if name.startswith((".", "followup.sqlite")) else 0o666
        target = os.fdopen(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, rights), "wb")
    try:
        while piece := reading.read(_PIECE):
            size += len(piece)
            if target is not None:
                target.write(piece)
        if target is not None:
            target.flush()
            os.fsync(target.fileno())
    finally:
        if target is not None:
            target.close()
    return KeptFile(name, size, reading.sha256)


def _parse_manifest(text: bytes, *, path: Path) -> Manifest:
    try:
        raw = json.loads(text)
        version = int(raw["format_version"])
        if version <= FORMAT_VERSION:
            return Manifest(**{**raw, "files": [KeptFile(**one) for one in raw["files"]]})
    except (ValueError, KeyError, TypeError):
        raise _no_backup(path, "its manifest cannot be read") from None
    raise BackupError(
        f"the backup has version {version}",
        where=str(path),
        expected=f"version {FORMAT_VERSION} or older",
        todo="Install the newer program that wrote it; nothing was changed",
        code="BAK-008",
    )


def _no_backup(path: Path, why: str) -> BackupError:
    return BackupError(
        f"this is no whole backup: {why}",
        where=str(path),
        expected="a file written by 'elastoqa backup'",
        todo="Take another backup; nothing was changed",
        code="BAK-004",
    )


def _differs(path: Path, name: str) -> BackupError:
    return BackupError(
        f"'{name}' is not as the manifest says",
        where=str(path),
        expected="each file of the manifest once, with its size and SHA-256, and no other",
        todo="Take another backup; nothing was changed",
        code="BAK-005",
    )
