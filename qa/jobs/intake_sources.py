"""Which files there are, which site sent each, and by which profile it is read."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from qa.intake.file_names import network_words, safe_name
from qa.jobs.incoming_files import find_incoming, site_of
from qa.model.definitions import Network, Profile
from qa.model.errors import ProfileError, SourceFileError, UserError
from qa.stores.own_files import refuse_own_files, refuse_warehouse_links
from qa.stores.settings import NetworkFolder


@dataclass(frozen=True)
class Source:
    """One file to read.

    name: what it is called in messages and in the warehouse (qa/intake/file_names.py).
    site_id: the site that sent it; None where its rows name their site.
    profile: None where `problem` says why the file cannot be placed.
    """

    path: Path
    name: str
    site_id: str | None
    profile: Profile | None
    problem: UserError | None = None

    def required_profile(self) -> Profile:
        """The profile. Raises: the problem, where there is none."""
        if self.profile is None:
            assert self.problem is not None
            raise self.problem
        return self.profile


def find_sources(
    folder: Path,
    *,
    files: Sequence[Path],
    site_id: str | None,
    network: Network,
    profiles: dict[str, Profile],
    key: bytes,
) -> list[Source]:
    """The files asked for, or everything under incoming/, in order of site and name.

    Args:
        files: these only; without them everything under incoming/<site>/ (of site_id only where
            it is given) and files in incoming/ itself whose rows name their site.
        site_id: the site that sent the files.
        key: the pseudonym key, for the names of files.
    Raises: WrongUse when a file is one of the network's own; nothing was opened then.
    """
    incoming = NetworkFolder(folder).incoming
    paths = [*files] if files else find_incoming(incoming, site_id)
    refuse = refuse_own_files if files else refuse_warehouse_links
    refuse(NetworkFolder(folder), paths)
    words = network_words(
        (network.id, network.name, *profiles, *(n for s in network.sites for n in (s.id, s.name)))
    )
    sources = []
    for path in paths:
        name = safe_name(path.name, words=words, key=key)
        wanted = site_id or site_of(path, incoming)
        if wanted and not site_id and network.site(wanted) is None:
            # A folder that is no site's may have been named after a patient.
            wanted = safe_name(wanted, words=words, key=key)
        sources.append(_place(path, name, wanted, network=network, profiles=profiles))
    return sources


def _place(
    path: Path,
    name: str,
    site_id: str | None,
    *,
    network: Network,
    profiles: dict[str, Profile],
) -> Source:
    if site_id is None:
        return _place_by_rows(path, name, network=network, profiles=profiles)
    site = network.site(site_id)
    if site is None:
        names = ", ".join(one.id for one in network.sites[:12])
        problem = SourceFileError(
            f"the site '{site_id}' is not in network.toml",
            where=name,
            expected=f"one of the network's sites: {names}{' …' * (len(network.sites) > 12)}",
            todo="Move the file to its site's folder, or add the site under [[sites]]",
            code="INT-010",
        )
        return Source(path, name, None, None, problem)
    profile = profiles.get(site.profile_of(path.name))
    if profile is None:
        missing = _no_profile(name, site_id, site.profile_of(path.name), profiles)
        return Source(path, name, site_id, None, missing)
    return Source(path, name, site_id, profile)


def _no_profile(name: str, site_id: str, wanted: str, profiles: dict[str, Profile]) -> ProfileError:
    return ProfileError(
        f"the site '{site_id}' has the profile '{wanted}', which is not there",
        where=name,
        expected=f"one of {', '.join(sorted(profiles)) or '(no profiles yet)'}",
        todo="Add it to profiles/, or mend `profile` in network.toml",
        code="PRF-002",
    )


def _place_by_rows(
    path: Path, name: str, *, network: Network, profiles: dict[str, Profile]
) -> Source:
    """A file whose rows name their site: possible where one profile of the network says so."""
    wanted = {site.profile for site in network.sites}
    naming = [
        profile
        for profile_id, profile in sorted(profiles.items())
        if profile_id in wanted and profile.column("site") is not None
    ]
    if len(naming) == 1:
        return Source(path, name, None, naming[0])
    problem = SourceFileError(
        "it cannot be told which site sent this file",
        where=name,
        expected="a file under incoming/<site>/, or one profile that maps the column `site`",
        todo="Move it into its site's folder, or name the site with --site",
        code="INT-011",
    )
    return Source(path, name, None, None, problem)
