"""What the command line needs to know of a network folder before it starts a job."""

import re
from collections.abc import Mapping
from pathlib import Path

from qa.model.definitions import Server
from qa.model.errors import NetworkFolderError
from qa.stores.key import create_key, load_key
from qa.stores.settings import load_network

_PREFIX = re.compile(r"/([A-Za-z0-9._~-]+/)*")


def find_key(folder: Path, environ: Mapping[str, str]) -> bytes:
    """The pseudonym key, after network.toml was found sound.

    Raises: NetworkFolderError, KeyMissing.
    """
    load_network(folder)
    return load_key(folder, environ)


def make_key(folder: Path) -> None:
    """A new pseudonym key for a folder that has none."""
    create_key(folder)


def find_server(folder: Path) -> Server:
    """How the screens are served, from network.toml.

    Raises: NetworkFolderError NET-012 (path), NET-013 (a proxy without public_url).
    """
    network = load_network(folder)
    where = "network.toml, [server]"
    if not _PREFIX.fullmatch(network.server.path_prefix):
        raise NetworkFolderError(
            "the path of the screens cannot be used",
            where=where,
            expected='path_prefix = "/qa/", with a slash at both ends',
            code="NET-012",
        )
    if network.server.behind_proxy and not network.log_in.public_url:
        raise NetworkFolderError(
            "a proxy is believed, but the address that it is reached at is missing",
            where=where,
            expected='public_url = "https://…" under [log_in]',
            code="NET-013",
        )
    return network.server


def find_port(folder: Path) -> int:
    """Port of the screens, from network.toml."""
    return load_network(folder).settings.port
