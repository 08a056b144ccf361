"""The archive of issued packs: packs/<month>/<site>/issue-<number>/ with a PDF and its manifest.

Documents of other kinds lie beside them, under packs/<month>/<kind>/<whom>/.

Nothing is ever written over. Both files of an issue appear together or not at all: they are
written into a folder of their own, flushed, and the folder is renamed into place.
"""

import json
import os
import shutil
import tempfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from qa.model.errors import PackError
from qa.model.pack_request import pack_name
from qa.stores.disk import disk_full, is_disk_full

ISSUE = "issue-"
UNFINISHED = ".unfinished-"


@dataclass(frozen=True)
class Issue:
    """One issued pack as it lies in the archive."""

    number: int
    pdf_path: Path
    manifest_path: Path

    def read_pdf(self) -> bytes:
        return self.pdf_path.read_bytes()

    def read_manifest_bytes(self) -> bytes:
        return self.manifest_path.read_bytes()


def list_issues(root: Path, *, month: date, site_id: str) -> list[Issue]:
    """Issues of one site's month, oldest first; empty where none was made.

    Args:
        root: the network folder.
        site_id: a site, or the key of a document of another kind (qa.model.pack_request).
    """
    folder = _folder_of(root, month=month, site_id=site_id)
    numbers = sorted(
        int(path.name.removeprefix(ISSUE))
        for path in folder.glob(f"{ISSUE}*")
        if path.name.removeprefix(ISSUE).isdigit()
    )
    return [_issue(folder, month=month, site_id=site_id, number=number) for number in numbers]


def months_with_packs(root: Path) -> list[str]:
    """Months in which some pack was issued, oldest first. Example: ['2026-09', '2026-10']"""
    issues = (root / "packs").glob(f"????-??/**/{ISSUE}*")
    return sorted({one.relative_to(root / "packs").parts[0] for one in issues})


def list_pack_months(root: Path, *, site_id: str) -> list[date]:
    """Months of which a site has packs, the newest first."""
    found = []
    for folder in (root / "packs").glob("[0-9][0-9][0-9][0-9]-[0-1][0-9]"):
        if (folder / site_id).is_dir():
            found.append(date(int(folder.name[:4]), int(folder.name[5:]), 1))
    return sorted(found, reverse=True)


def archive_pack(
    root: Path, *, month: date, site_id: str, number: int, pdf: bytes, manifest: bytes
) -> Issue:
    """Put one issue into the archive.

    Raises: PackError: the number is taken, or the folder cannot be written (nothing is left).
    """
    folder = _folder_of(root, month=month, site_id=site_id)
    issue = _issue(folder, month=month, site_id=site_id, number=number)
    target = issue.pdf_path.parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
        unfinished = Path(tempfile.mkdtemp(prefix=UNFINISHED, dir=folder))
        try:
            _write(unfinished / issue.pdf_path.name, pdf)
            _write(unfinished / issue.manifest_path.name, manifest)
            unfinished.chmod(0o755)
            _flush_folder(unfinished)
            # A rename onto a folder that holds files fails, so an issue is never replaced.
            os.rename(unfinished, target)
        except BaseException:
            shutil.rmtree(unfinished, ignore_errors=True)
            raise
        _flush_folder(folder)
    except OSError as problem:
        if target.exists():
            raise PackError(
                f"issue {number} of {site_id}, {month:%Y-%m} exists already",
                where=str(target.relative_to(root)),
                todo="Run the command again; an issued pack is never replaced",
                code="PCK-003",
            ) from None
        if is_disk_full(problem):
            kept = "packs issued before are whole"
            where = str(folder.relative_to(root))
            raise disk_full(PackError, where=where, kept=kept, code="PCK-004") from None
        raise PackError(
            f"the pack cannot be written ({problem.strerror or type(problem).__name__})",
            where=str(folder.relative_to(root)),
            todo="Check free space and rights of the packs folder, then run the command again",
            code="PCK-004",
        ) from None
    return issue


def manifest_path_of(pdf_path: Path) -> Path:
    """Where the manifest of a PDF lies: beside it, with the ending .json."""
    return pdf_path.with_suffix(".json")


def read_manifest(path: Path) -> dict[str, Any]:
    """A manifest as written.

    Raises: PackError: it is missing or no JSON object.
    """
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise PackError(
            "the manifest is missing",
            where=str(path),
            expected="a .json file of the same name beside the PDF",
            todo="Take both files from the archive",
            code="PCK-005",
        ) from None
    except (OSError, ValueError):
        content = None
    if not isinstance(content, dict):
        raise PackError(
            "the manifest cannot be read",
            where=str(path),
            expected="a JSON object as written by 'elastoqa packs'",
            todo="Take both files from a backup of the archive",
            code="PCK-006",
        )
    return content


def _folder_of(root: Path, *, month: date, site_id: str) -> Path:
    return root / "packs" / f"{month:%Y-%m}" / site_id


def _issue(folder: Path, *, month: date, site_id: str, number: int) -> Issue:
    name = pack_name(site_id, month, number)
    inside = folder / f"{ISSUE}{number}"
    return Issue(number, inside / f"{name}.pdf", inside / f"{name}.json")


def _write(path: Path, content: bytes) -> None:
    with path.open("xb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())
    path.chmod(0o444)


def _flush_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
