"""What the command line needs to know of a network folder before it starts a job."""

from collections.abc import Mapping
from pathlib import Path

from qa.stores.key import create_key, load_key
from qa.stores.settings import load_network


def find_key(folder: Path, environ: Mapping[str, str]) -> bytes:
    """The pseudonym key, after network.toml was found sound.

    Raises: NetworkFolderError, KeyMissing.
    """
    load_network(folder)
    return load_key(folder, environ)


def make_key(folder: Path) -> None:
    """A new pseudonym key for a folder that has none."""
    create_key(folder)


def find_port(folder: Path) -> int:
    """Port of the screens, from network.toml."""
    return load_network(folder).settings.port
