"""Say whether an issued pack, its manifest and the snapshot behind it still agree."""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from qa.jobs.followup.opening import open_record
from qa.jobs.pack_facts import FactsReader
from qa.jobs.packs import Render
from qa.model.errors import PackError, SnapshotError, UserError, VerificationFailed
from qa.model.months import parse_month
from qa.model.pack_request import PackKind, PackRequest
from qa.model.sealed import SEAL, digest_of, is_sealed
from qa.readers.pdf_text import read_pdf_pages
from qa.stores.pack_archive import manifest_path_of, read_manifest
from qa.stores.snapshots import open_snapshot
from qa.views.pack import RenderedPack

FORMAT_VERSION = 1
SHOWN = 8
OF_SINGLE_EXAMS = ("exam.", "repeats.", "change.", "ask.")
"""Names of figures that are made from rows of exams or of quarantine, not from counts."""
MADE_FROM = ("network_id", "criteria_id", "criteria", "grade_tables", "source_files")


def verify_pack(
    path: Path,
    *,
    folder: Path | None = None,
    render: Render,
    environ: Mapping[str, str] | None = None,
) -> Iterator[str]:
    """Check one pack; every line says in words what agrees.

    Args:
        path: the PDF; its manifest lies beside it.
        folder: the network folder; None: the one that the PDF lies in.
        render: draws the pack again (reports.pack.render_pack).
        environ: to open the record of decisions, where the pack shows any.
    Raises: VerificationFailed naming everything that differs, after all checks; PackError: the
        PDF or the manifest is missing; SnapshotError: the snapshot is not there any more.
    """
    pdf, manifest = _read(path)
    problems = [*_seal_problems(manifest), *_byte_problems(pdf, manifest)]
    if not problems:
        yield f"The file's bytes have the SHA-256 of the manifest ({manifest['pdf_sha256'][:12]}…)."
        yield "The manifest has the SHA-256 that it states for itself."
    again, removed = _draw_again(manifest, folder or _network_folder(path), render, environ)
    fresh = json.loads(again.manifest)
    if removed:
        yield (
            f"Since then rows were taken out of the snapshot on a lawful request ({removed}): what "
            "speaks of single exams is not computed again."
        )
        fresh = _without_single_exams(manifest, fresh)
    figures = [*_figure_problems(manifest, fresh), *_origin_problems(manifest, fresh)]
    if not figures and not removed:
        yield (
            f"{len(fresh['figures'])} figures computed again from snapshot "
            f"{manifest['snapshot_id']}: all equal."
        )
    elif not figures:
        yield "All other figures computed again from the snapshot: all equal."
    printed = _print_problems(pdf, fresh["figures"])
    if not printed:
        yield "Every figure stands in the text of the PDF, in its order."
    if manifest.get("software_version") != fresh["software_version"]:
        yield (
            f"Drawn by version {manifest.get('software_version')}, checked by "
            f"{fresh['software_version']}: figures compared, pages not drawn again."
        )
    elif removed:
        yield "Pages are not drawn again, because rows are gone from the snapshot."
    elif again.pdf == pdf:
        yield "Drawn again from the snapshot: the same bytes."
    else:
        printed.insert(0, "drawn again from the snapshot, the file has other bytes")
    _raise_for([*problems, *figures, *printed], path)
    yield f"{path.name}: the pack, its manifest and the snapshot agree."


def _read(path: Path) -> tuple[bytes, dict[str, Any]]:
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
    needed = {SEAL, "pdf_sha256", "snapshot_id", "site_id", "month", "number", "figures"}
    missing = sorted(needed - manifest.keys())
    if missing or manifest.get("format_version") != FORMAT_VERSION:
        found = f"has no {missing[0]}" if missing else "has a format that this version cannot read"
        raise VerificationFailed(
            f"the manifest {found}",
            where=manifest_path_of(path).name,
            expected=f"a manifest of format version {FORMAT_VERSION}",
            todo="Take both files from the archive, or update the program",
            code="VER-001",
        )
    return pdf, manifest


def _seal_problems(manifest: Mapping[str, Any]) -> list[str]:
    if is_sealed(manifest):
        return []
    return [
        f"the manifest was changed: its content has SHA-256 {digest_of(manifest)[:12]}…, "
        f"it states {str(manifest[SEAL])[:12]}…"
    ]


def _byte_problems(pdf: bytes, manifest: Mapping[str, Any]) -> list[str]:
    found = hashlib.sha256(pdf).hexdigest()
    if found == manifest["pdf_sha256"]:
        return []
    return [
        f"the file's bytes were changed: SHA-256 {found[:12]}…, the manifest says "
        f"{str(manifest['pdf_sha256'])[:12]}…"
    ]


def _network_folder(path: Path) -> Path:
    for parent in path.resolve().parents:
        if (parent / "network.toml").exists():
            return parent
    raise SnapshotError(
        "the pack lies in no network folder, so its figures cannot be computed again",
        where=str(path),
        expected="a PDF under packs/ of a network folder",
        todo="Check the pack where it was issued",
        code="VER-002",
    )


def _draw_again(
    manifest: Mapping[str, Any],
    folder: Path,
    render: Render,
    environ: Mapping[str, str] | None,
) -> tuple[RenderedPack, str]:
    """The pack drawn again, and what was removed from its snapshot since; "" for nothing."""
    snapshot = open_snapshot(folder, str(manifest["snapshot_id"]))
    try:
        request = request_of(manifest)
        facts = None
        if known_at := manifest.get("record_known_at"):
            store = open_record(folder, environ=environ or {})
            reader = FactsReader(store, folder, snapshot)
            facts = reader.read(request, known_at=datetime.fromisoformat(str(known_at)))
        pack = render(snapshot, request, number=int(manifest["number"]), facts=facts)
        return pack, ", ".join(snapshot.removed_rows())
    finally:
        snapshot.close()


def request_of(manifest: Mapping[str, Any]) -> PackRequest:
    """What pack a manifest is of; the oldest ones are all of sites, on A4."""
    first = manifest.get("from_month")
    return PackRequest(
        PackKind(manifest.get("kind", PackKind.SITE)),
        str(manifest["site_id"]),
        parse_month(str(manifest["month"])),
        parse_month(str(first)) if first else None,
        str(manifest.get("paper", "A4")),
    )


def _without_single_exams(manifest: Mapping[str, Any], fresh: Mapping[str, Any]) -> dict[str, Any]:
    """What was computed again, with the stated words about single exams put in their places.

    A file whose only exams of the month were removed is no source of the snapshot any more.
    """
    computed = {one["name"]: one for one in fresh["figures"]}
    figures = [
        one if str(one.get("name", "")).startswith(OF_SINGLE_EXAMS) else computed.get(one["name"])
        for one in manifest["figures"]
    ]
    stated = manifest.get("source_files") or []
    is_part = all(one in stated for one in fresh["source_files"])
    return {
        **fresh,
        "figures": [one for one in figures if one],
        "source_files": stated if is_part else fresh["source_files"],
    }


def _figure_problems(manifest: Mapping[str, Any], fresh: Mapping[str, Any]) -> list[str]:
    """Figures of the manifest that differ from those computed again, by name."""
    stated = {str(one.get("name")): one for one in manifest["figures"]}
    computed = {one["name"]: one for one in fresh["figures"]}
    problems = [
        f"figure {name} is stated but the snapshot gives none"
        for name in stated
        if name not in computed
    ]
    for name, one in computed.items():
        if name not in stated:
            problems.append(f"figure {name} is missing from the manifest")
        elif stated[name] != one:
            problems.append(f"figure {name}: {_difference(stated[name], one)}")
    if not problems and [*stated] != [*computed]:
        problems.append("the figures of the manifest stand in another order")
    return problems


def _difference(stated: Mapping[str, Any], computed: Mapping[str, Any]) -> str:
    parts = [
        f"{key} {stated.get(key)!r} stated, {computed.get(key)!r} computed"
        for key in computed
        if stated.get(key) != computed.get(key)
    ]
    return ", ".join(parts) or "it holds more than a figure should"


def _origin_problems(manifest: Mapping[str, Any], fresh: Mapping[str, Any]) -> list[str]:
    """What the pack says it was made from, against the snapshot."""
    return [
        f"{key.replace('_', ' ')} of the manifest differ from the snapshot's"
        for key in MADE_FROM
        if manifest.get(key) != fresh[key]
    ]


def _print_problems(pdf: bytes, figures: Sequence[Mapping[str, Any]]) -> list[str]:
    """Figures that do not stand in the PDF's text, searched one after the other."""
    try:
        tokens = _document_tokens(read_pdf_pages(pdf))
    except UserError as problem:
        return [problem.what]
    at = 0
    problems = []
    for figure in figures:
        for words in (figure["text"], figure["interval"]):
            wanted = _tokens(str(words))
            if not wanted:
                continue
            found = _find(tokens, wanted, at)
            if found is None:
                problems.append(f"figure {figure['name']}: '{words}' is not printed in its place")
                break
            at = found
    return problems


def _document_tokens(pages: Sequence[str]) -> list[str]:
    """Words of all pages without what repeats on each: header, caution, page x of y."""
    split = [_tokens(page) for page in pages]
    same = 0
    while all(len(page) > same and page[same] == split[0][same] for page in split):
        same += 1
    n_last = len(_tokens("page 1 of 1"))
    return [token for page in split for token in page[same : len(page) - n_last]]


def _tokens(words: str) -> list[str]:
    """Words without the punctuation around them, so that line breaks and brackets do not matter."""
    stripped = (word.strip("().,;:") for word in words.split())
    return [word for word in stripped if word]


def _find(tokens: Sequence[str], wanted: Sequence[str], start: int) -> int | None:
    """Place after the first run of whole words that spell what is wanted; None without one.

    Words are joined, because the page breaks very long ones.
    """
    spelled = "".join(wanted)
    for at in range(start, len(tokens)):
        rest, end = spelled, at
        while rest and end < len(tokens) and rest.startswith(tokens[end]):
            rest = rest[len(tokens[end]) :]
            end += 1
        if not rest:
            return end
    return None


def _raise_for(problems: Sequence[str], path: Path) -> None:
    if not problems:
        return
    more = f"; and {len(problems) - SHOWN} more" if len(problems) > SHOWN else ""
    raise VerificationFailed(
        "; ".join(problems[:SHOWN]) + more,
        where=path.name,
        todo="Do not use this file as evidence; take the pack from the archive or a backup",
        code="VER-003",
    )
