"""The pseudonym key: made once per network, kept beside it, never shown."""

import hashlib
import os
import re
import secrets
import stat
from collections.abc import Mapping
from pathlib import Path

from qa.model.errors import KeyMissing

KEY_FILE = ".pseudonym_key"
KEY_VARIABLE = "ELASTOQA_PSEUDONYM_KEY"
KEY_BYTES = 32

_HEX = re.compile(r"[0-9a-f]{64,128}")


def create_key(folder: Path) -> Path:
    """Write a new random key into the folder, readable by its owner only.

    Returns: the file. It holds 64 hexadecimal digits.
    Raises: KeyMissing when a key is there already: another key would make every patient a new one.
    """
    path = folder / KEY_FILE
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise KeyMissing(
            "a pseudonym key is there already",
            where=str(path),
            todo="Keep it. A new key would make every known patient a stranger",
            code="KEY-001",
        ) from None
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secrets.token_hex(KEY_BYTES) + "\n")
    return path


def load_key(folder: Path, environ: Mapping[str, str]) -> bytes:
    """The key as ASCII hexadecimal digits: from the environment, else from the folder.

    Raises: KeyMissing when there is none, when it is no key, or when others may read its file.
        The message never holds it.
    """
    if KEY_VARIABLE in environ:
        return _checked(environ[KEY_VARIABLE], where=f"environment variable {KEY_VARIABLE}")
    path = folder / KEY_FILE
    try:
        with path.open("rb") as file:
            _require_private(os.fstat(file.fileno()), path)
            text = file.read().decode("ascii", errors="replace")
    except FileNotFoundError:
        raise KeyMissing(
            "the pseudonym key is missing",
            where=str(path),
            expected=f"the file that was made with the network, or {KEY_VARIABLE}",
            todo="Restore it from your backup. Without it no new exam can be matched to a patient",
            code="KEY-002",
        ) from None
    except OSError as problem:
        raise KeyMissing(
            f"the pseudonym key cannot be read ({problem.strerror})",
            where=str(path),
            code="KEY-002",
        ) from None
    return _checked(text, where=str(path))


def _require_private(facts: os.stat_result, path: Path) -> None:
    """Refuse a key that others on this machine may read; Windows keeps no such bits.

    Raises: KeyMissing KEY-005.
    """
    if os.name == "posix" and facts.st_mode & 0o077:
        raise KeyMissing(
            "others on this machine may read or change the pseudonym key "
            f"(its permissions are {stat.S_IMODE(facts.st_mode):04o})",
            where=str(path),
            expected="a file that only its owner may read (0600)",
            todo=f"Run: chmod 600 '{path}'. If others may have read it, ask whether the "
            "pseudonyms are still safe",
            code="KEY-005",
        )


def _checked(text: str, *, where: str) -> bytes:
    key = text.strip().lower()
    if not _HEX.fullmatch(key):
        raise KeyMissing(
            "this is no pseudonym key",
            where=where,
            expected="64 to 128 hexadecimal digits",
            todo="Restore the key from your backup",
            code="KEY-003",
        )
    return key.encode("ascii")


def key_fingerprint(key: bytes) -> str:
    """16 digits that tell whether two keys are the same one, and do not give the key away."""
    return hashlib.sha256(b"elastography-qa pseudonym key:" + key).hexdigest()[:16]
