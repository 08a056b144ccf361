"""Backup archives as another program reads and writes them: tar under zstd."""

import io
import tarfile
from datetime import UTC, datetime
from pathlib import Path

import pyarrow as pa

from qa.jobs.backup import run_backup
from qa.stores.backup_archive import Manifest

AT = datetime(2026, 11, 5, 7, 0, tzinfo=UTC)


def back_up(folder: Path, file: Path, **more) -> Manifest:
    settings = {"with_key": False, "environ": {}, "at": AT, "software_version": "0", **more}
    return run_backup(folder, file, **settings)


def unpacked(archive: Path) -> dict[str, bytes]:
    """What another program finds in the archive: tar under zstd."""
    with (
        pa.CompressedInputStream(archive.open("rb"), "zstd") as stream,
        tarfile.open(fileobj=stream, mode="r|") as tar,
    ):
        return {one.name: tar.extractfile(one).read() for one in tar}


def rewritten(archive: Path, target: Path, members: dict[str, bytes]) -> Path:
    with (
        pa.CompressedOutputStream(target.open("wb"), "zstd") as stream,
        tarfile.open(fileobj=stream, mode="w|") as tar,
    ):
        for name, content in members.items():
            member = tarfile.TarInfo(name)
            member.size = len(content)
            if name.endswith("@"):
                member.type, member.linkname = tarfile.SYMTYPE, "/etc/passwd"
            tar.addfile(member, io.BytesIO(content))
    return target
