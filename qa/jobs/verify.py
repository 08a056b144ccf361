"""Say whether an issued pack, its manifest, its snapshot and the warehouse still agree."""

import json
from collections.abc import Generator, Iterator, Mapping, Sequence
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import Any

from qa.jobs.followup.opening import open_record
from qa.jobs.pack_facts import FactsReader
from qa.jobs.pack_issue import PackMaker, Render
from qa.jobs.packs_then import computed_again, under_its_name
from qa.jobs.verify_figures import (
    Compared,
    compare_older_version,
    compare_same_version,
    origin_problems,
    print_problems,
    without_single_exams,
)
from qa.jobs.verify_file import (
    PackFile,
    byte_problems,
    check_signature,
    network_folder_of,
    read_pack_file,
    refuse_foreign,
    seal_problems,
)
from qa.model.errors import VerificationFailed
from qa.model.months import parse_month
from qa.model.pack_request import PackKind, PackRequest
from qa.model.reissue import replaced_of
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.snapshots import Snapshot, open_snapshot
from qa.views.pack import RenderedPack

SHOWN = 8


def verify_pack(
    path: Path,
    *,
    folder: Path | None = None,
    render: Render,
    environ: Mapping[str, str] | None = None,
    is_quick: bool = False,
) -> Iterator[str]:
    """Check one pack; every line says in words what agrees.

    Args:
        path: the PDF; its manifest lies beside it.
        folder: the network folder; None: the one that the PDF lies in.
        render: draws the pack again (reports.pack.render_pack).
        environ: to open the record of decisions, where the pack shows any.
        is_quick: leave out the computation from the warehouse.
    Raises: VerificationFailed naming everything that differs, after all checks; PackError: the
        PDF or the manifest is missing; SnapshotError: the snapshot is not there any more;
        WarehouseError: the warehouse is busy.
    """
    file = read_pack_file(path)
    problems = [*seal_problems(file.manifest), *byte_problems(file)]
    if not problems:
        digest = file.manifest["pdf_sha256"][:12]
        yield f"The file's bytes have the SHA-256 of the manifest ({digest}…)."
        yield "The manifest has the SHA-256 that it states for itself."
    root = folder or network_folder_of(path)
    network = load_network(root)
    refuse_foreign(file.manifest, network.id, path)
    trust = network.signing.trust_file
    unsigned, said = check_signature(file, trust_file=root / trust if trust else None)
    if said:
        yield said
    problems += unsigned
    with ExitStack() as stack:
        snapshot = open_snapshot(root, str(file.manifest["snapshot_id"]))
        stack.callback(snapshot.close)
        again = _draw(file, snapshot, root, render, environ)
        removed = ", ".join(snapshot.removed_rows())
        problems += yield from _against_snapshot(file, again, removed)
        problems += yield from _against_print(file, again, removed)
        if not is_quick:
            problems += yield from _against_warehouse(
                file, snapshot, root, render, environ, removed
            )
    _raise_for(problems, path)
    yield f"{path.name}: the pack, its manifest and what it was made from agree."


Checks = Generator[str, None, list[str]]
"""Lines to show; returns problems."""


def _against_snapshot(file: PackFile, again: RenderedPack, removed: str) -> Checks:
    fresh = json.loads(again.manifest)
    if removed:
        yield (
            f"Since then rows were taken out of the snapshot on a lawful request ({removed}): what "
            "speaks of single exams is not computed again."
        )
        fresh = without_single_exams(file.manifest, fresh)
    found = _compare(file, fresh, given_by="the snapshot")
    problems = [*found.problems, *origin_problems(file.manifest, fresh)]
    if not problems and not removed:
        yield (
            f"{found.n_equal} figures computed again from snapshot "
            f"{file.manifest['snapshot_id']}: all equal."
        )
    elif not problems:
        yield "All other figures computed again from the snapshot: all equal."
    if found.reworded:
        yield f"{len(found.reworded)} of them are worded otherwise now; their numbers are equal."
    if found.not_compared:
        names = ", ".join(found.not_compared[:SHOWN])
        yield (
            f"{len(found.not_compared)} figures are not printed by this version any more and were "
            f"not computed again: {names}{'…' if len(found.not_compared) > SHOWN else ''}"
        )
    return problems


def _compare(file: PackFile, fresh: Mapping[str, Any], *, given_by: str) -> Compared:
    if _is_other_version(file, fresh):
        return compare_older_version(file.manifest, fresh)
    return compare_same_version(file.manifest, fresh, given_by=given_by)


def _is_other_version(file: PackFile, fresh: Mapping[str, Any]) -> bool:
    return file.is_older or file.manifest.get("software_version") != fresh["software_version"]


def _against_print(file: PackFile, again: RenderedPack, removed: str) -> Checks:
    problems = print_problems(file.made, file.manifest["figures"])
    if not problems:
        yield "Every figure stands in the text of the PDF, in its order."
    fresh = json.loads(again.manifest)
    if _is_other_version(file, fresh):
        yield (
            f"Drawn by version {file.manifest.get('software_version')} (manifest format "
            f"{file.manifest['format_version']}), checked by {fresh['software_version']} (format "
            f"{fresh['format_version']}): figures compared, pages not drawn again."
        )
    elif removed:
        yield "Pages are not drawn again, because rows are gone from the snapshot."
    elif again.pdf == file.made:
        yield "Drawn again from the snapshot: the same bytes."
    else:
        problems.insert(0, "drawn again from the snapshot, the file has other bytes")
    return problems


def _against_warehouse(
    file: PackFile,
    issued: Snapshot,
    root: Path,
    render: Render,
    environ: Mapping[str, str] | None,
    removed: str,
) -> Checks:
    moment = issued.published_at
    if not NetworkFolder(root).warehouse.exists():
        yield "There is no warehouse here: figures were compared with the snapshot only."
        return []
    with computed_again(
        root,
        moment=moment,
        rules=issued.rule_texts(),
        software_version=issued.software_version,
        environ=environ,
    ) as computed:
        again = _draw(file, under_its_name(computed, issued), root, render, environ)
    fresh = json.loads(again.manifest)
    if removed:
        fresh = without_single_exams(file.manifest, fresh)
    found = _compare(file, fresh, given_by="the warehouse")
    known = f"the warehouse as known at {moment:%Y-%m-%d %H:%M} UTC"
    if not found.problems:
        yield f"{found.n_equal} figures computed again from {known}: all equal."
        return []
    if removed:
        yield (
            f"{len(found.problems)} figures computed again from {known} differ, since it counts "
            f"without the rows removed on request: {found.problems[0]}"
            + (" …" if len(found.problems) > 1 else "")
        )
        return []
    return [f"computed from {known}, {one}" for one in found.problems]


def _draw(
    file: PackFile,
    snapshot: Snapshot,
    root: Path,
    render: Render,
    environ: Mapping[str, str] | None,
) -> RenderedPack:
    """The pack drawn again, with the record as it was known when it was made."""
    request = request_of(file.manifest)
    with ExitStack() as stack:
        facts = None
        if known_at := file.manifest.get("record_known_at"):
            store = open_record(root, environ=environ or {})
            stack.callback(store.close)
            reader = FactsReader(store, root, snapshot)
            facts = reader.read(request, known_at=datetime.fromisoformat(str(known_at)))
        maker = PackMaker(root, snapshot, None, render)
        number = int(file.manifest["number"])
        return maker.draw(request, number, facts, replaced_of(file.manifest))


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
