"""A network folder: where its things lie, and reading network.toml and the profiles."""

from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from qa.model.definitions import Network, Profile
from qa.model.errors import NetworkFolderError, ProfileError
from qa.model.parsing import parse_network, parse_profile


@dataclass(frozen=True)
class NetworkFolder:
    """Names of the things in a network folder."""

    root: Path

    @property
    def network_file(self) -> Path:
        return self.root / "network.toml"

    @property
    def profiles(self) -> Path:
        return self.root / "profiles"

    @property
    def incoming(self) -> Path:
        return self.root / "incoming"

    @property
    def warehouse(self) -> Path:
        return self.root / "warehouse.duckdb"

    @property
    def followup(self) -> Path:
        return self.root / "followup.sqlite"

    @property
    def snapshots(self) -> Path:
        return self.root / "snapshots"

    @property
    def packs(self) -> Path:
        return self.root / "packs"


def read_network_text(root: Path) -> str:
    """Raises: NetworkFolderError when the folder holds no network.toml."""
    path = NetworkFolder(root).network_file
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise NetworkFolderError(
            "no network.toml here",
            where=str(root),
            expected="the folder of a network",
            todo="Give it with --network FOLDER, or make one with 'elastoqa init FOLDER'",
            code="NET-001",
        ) from None
    except UnicodeDecodeError:
        raise NetworkFolderError(
            "network.toml is not UTF-8 text", where=str(root), code="NET-003"
        ) from None


def load_network(root: Path) -> Network:
    return parse_network(read_network_text(root), where="network.toml")


def load_profiles(root: Path) -> dict[str, Profile]:
    """The product's profiles and those of the folder by id; the highest version of an id counts.

    Raises: ProfileError when a file is wrong or an id and version stand twice.
    """
    newest = builtin_profiles()
    seen = {profile.full_id: "the product" for profile in newest.values()}
    for path in sorted(NetworkFolder(root).profiles.glob("*.toml")):
        profile = parse_profile(path.read_text(encoding="utf-8"), where=f"profiles/{path.name}")
        if profile.full_id in seen:
            raise ProfileError(
                f"'{profile.full_id}' also stands in {seen[profile.full_id]}",
                where=f"profiles/{path.name}",
                todo="Give the newer file the next version",
                code="PRF-001",
            )
        seen[profile.full_id] = path.name
        if profile.id not in newest or newest[profile.id].version < profile.version:
            newest[profile.id] = profile
    return newest


def builtin_profiles() -> dict[str, Profile]:
    """Profiles that come with the product, by id: for formats whose columns are fixed."""
    folder = resources.files("qa") / "definitions" / "profiles"
    files = sorted(folder.iterdir(), key=lambda one: one.name)
    profiles = [parse_profile(one.read_text(encoding="utf-8"), where=one.name) for one in files]
    return {profile.id: profile for profile in profiles}
