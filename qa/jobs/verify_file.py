"""The file itself: its bytes, the manifest's seal, and the signature."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qa.model.errors import PackError, SnapshotError, VerificationFailed
from qa.model.sealed import SEAL, digest_of, is_sealed
from qa.stores.pack_archive import manifest_path_of, read_manifest
from qa.stores.signing import read_signature

OLDEST_FORMAT, FORMAT_VERSION = 1, 2
_NEEDED = {SEAL, "pdf_sha256", "snapshot_id", "site_id", "month", "number", "figures"}


@dataclass(frozen=True)
class PackFile:
    """A pack as it lies there. made: its bytes as made, without a signature after them."""

    path: Path
    pdf: bytes
    made: bytes
    manifest: Mapping[str, Any]

    @property
    def is_older(self) -> bool:
        """Its manifest has an earlier format than the one written now."""
        return int(self.manifest["format_version"]) < FORMAT_VERSION


def read_pack_file(path: Path) -> PackFile:
    """Raises: PackError PCK-008, PCK-005, PCK-006; VerificationFailed VER-001 (the format)."""
    try:
        pdf = path.read_bytes()
    except OSError as problem:
        raise PackError(
            f"the pack cannot be read ({problem.strerror})",
            where=str(path),
            expected="a PDF made by 'elastoqa packs'",
            code="PCK-008",
        ) from None
    manifest = read_manifest(manifest_path_of(path))
    missing = sorted(_NEEDED - manifest.keys())
    version = manifest.get("format_version")
    is_known = isinstance(version, int) and OLDEST_FORMAT <= version <= FORMAT_VERSION
    if missing or not is_known:
        found = f"has no {missing[0]}" if missing else "has a format that this version cannot read"
        raise VerificationFailed(
            f"the manifest {found}",
            where=manifest_path_of(path).name,
            expected=f"a manifest of format version {OLDEST_FORMAT} to {FORMAT_VERSION}",
            todo="Take both files from the archive, or update the program",
            code="VER-001",
        )
    size = manifest.get("pdf_bytes")
    is_signed = bool(manifest.get("signature")) and isinstance(size, int)
    return PackFile(path, pdf, pdf[:size] if is_signed else pdf, manifest)


def seal_problems(manifest: Mapping[str, Any]) -> list[str]:
    if is_sealed(manifest):
        return []
    return [
        f"the manifest was changed: its content has SHA-256 {digest_of(manifest)[:12]}…, "
        f"it states {str(manifest[SEAL])[:12]}…"
    ]


def byte_problems(file: PackFile) -> list[str]:
    """The pack as it was made, then the file as it was signed: padding inside a signature is
    covered by no signature.
    """
    stated = [(file.made, str(file.manifest["pdf_sha256"]))]
    if signature := file.manifest.get("signature"):
        stated.append((file.pdf, str(signature.get("file_sha256"))))
    for content, digest in stated:
        found = hashlib.sha256(content).hexdigest()
        if found != digest:
            return [
                f"the file's bytes were changed: SHA-256 {found[:12]}…, the manifest says "
                f"{digest[:12]}…"
            ]
    return []


def check_signature(file: PackFile, *, trust_file: Path | None) -> tuple[list[str], str]:
    """Problems, and one sentence about the signature; "" where the pack has none.

    Raises: PackError PCK-042.
    """
    stated = file.manifest.get("signature")
    if not stated:
        return [], ""
    found = read_signature(file.pdf, trust_file=trust_file)
    if found is None:
        return [f"the signature of {stated.get('subject')} is missing or cannot be read"], ""
    problems = []
    if not found.is_intact:
        problems.append("the signature does not fit the file's bytes")
    if not found.is_whole:
        problems.append("something was added to the file after it was signed")
    if found.certificate_sha256 != stated.get("certificate_sha256"):
        problems.append(
            f"the file is signed by {found.subject}, the manifest says {stated.get('subject')}"
        )
    if found.is_trusted is False:
        problems.append(f"the certificates of trust_file do not vouch for {found.subject}")
    when = f" on {found.signed_at:%Y-%m-%d %H:%M} UTC" if found.signed_at else ""
    trust = {True: "; trust_file vouches for it", None: "; nobody was asked to vouch for it"}
    return problems, f"Signed by {found.subject}{when}{trust.get(found.is_trusted, '')}."


def network_folder_of(path: Path) -> Path:
    """Raises: SnapshotError VER-002."""
    for parent in path.resolve().parents:
        if (parent / "network.toml").exists():
            return parent
    raise SnapshotError(
        "the pack lies in no network folder, so its figures cannot be computed again",
        where=str(path),
        expected="a PDF under packs/ of a network folder, or --network FOLDER",
        todo="Check the pack where it was issued",
        code="VER-002",
    )


def refuse_foreign(manifest: Mapping[str, Any], network_id: str, path: Path) -> None:
    """Raises: VerificationFailed VER-004 when the pack is another network's."""
    theirs = str(manifest.get("network_id"))
    if theirs != network_id:
        raise VerificationFailed(
            f"the pack is of the network '{theirs}'",
            where=path.name,
            expected=f"a pack of '{network_id}', whose folder this is",
            todo="Give the folder of its own network with --network FOLDER",
            code="VER-004",
        )
