"""Packs in a shared folder: FOLDER/<month>/<site>/ with the PDF and its manifest."""

import hashlib
import os
import tempfile
from datetime import date
from pathlib import Path

from qa.model.errors import DeliveryError
from qa.stores.disk import flush, put_in_place
from qa.stores.pack_archive import Issue


def put_into_folder(shared: Path, issue: Issue, *, month: date, site_id: str) -> str:
    """Copy an issue; each file appears whole or not at all, and is read back.

    A file that is there with the same bytes stays. The PDF comes last: once it is there, all is.

    Returns: where the PDF lies, below the shared folder.
    Raises: DeliveryError DLV-010 (cannot be written), DLV-011 (another file of that name).
    """
    if not shared.is_dir():
        raise DeliveryError(
            "the shared folder is not there",
            where=str(shared),
            expected="a folder that can be written to",
            todo="Mount it or mend `folder` under [delivery], then run 'elastoqa deliver'",
            code="DLV-010",
        )
    where = Path(f"{month:%Y-%m}") / site_id
    for path in (issue.manifest_path, issue.pdf_path):
        _put(shared, where / path.name, path.read_bytes())
    return (where / issue.pdf_path.name).as_posix()


def _put(shared: Path, name: Path, content: bytes) -> None:
    final = shared / name
    try:
        if final.exists():
            if final.read_bytes() == content:
                return
            raise DeliveryError(
                "another file of this name lies in the shared folder",
                where=name.as_posix(),
                todo="Look at it and take it away, then run 'elastoqa deliver'",
                code="DLV-011",
            )
        final.parent.mkdir(parents=True, exist_ok=True)
        handle, unfinished = tempfile.mkstemp(prefix=".unfinished-", dir=final.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            Path(unfinished).chmod(0o644)
            put_in_place(Path(unfinished), final)
        finally:
            Path(unfinished).unlink(missing_ok=True)
        flush(final.parent)
        if hashlib.sha256(final.read_bytes()).digest() != hashlib.sha256(content).digest():
            raise OSError(None, "what was read back differs")
    except OSError as problem:
        raise DeliveryError(
            f"the shared folder cannot be written ({problem.strerror or type(problem).__name__})",
            where=name.as_posix(),
            todo="Check room and rights of the shared folder, then run 'elastoqa deliver'",
            code="DLV-010",
        ) from None
