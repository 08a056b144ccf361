"""A password from the environment or from a file that only its owner may read."""

import stat
from collections.abc import Mapping
from pathlib import Path

from qa.model.errors import UserError


def read_secret(
    folder: Path,
    *,
    file: str,
    variable: str,
    key: str,
    environ: Mapping[str, str],
    error: type[UserError],
    code: str,
) -> str:
    """The secret, or "" where neither is set.

    Args:
        folder: the network folder; file is taken from there.
        variable: of the environment; it comes first.
        key: where in network.toml the file is named, for the message.
    Raises: the given error when the file is missing, empty or open to others.
    """
    if environ.get(variable):
        return environ[variable]
    if not file:
        return ""
    path = folder / file
    try:
        is_private = not path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO)
        secret = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        is_private, secret = False, ""
    if not is_private or not secret:
        raise error(
            "the file with the password is missing, empty or open to others",
            where=f"network.toml, {key}",
            expected=f"a file readable by its owner only (chmod 600), or {variable}",
            code=code,
        )
    return secret
