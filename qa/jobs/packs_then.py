"""A month as it was known at a moment, computed anew from the warehouse; and packs of it."""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from qa.jobs.followup.archive import published_at_of
from qa.jobs.followup.opening import open_record
from qa.jobs.pack_choice import Choose
from qa.jobs.pack_facts import FactsReader
from qa.jobs.pack_issue import PackMaker, Render
from qa.jobs.refresh import find_frames
from qa.model.errors import PackError
from qa.model.pack_request import PackRequest
from qa.model.parsing import parse_network
from qa.model.progress import Progress, show_nothing
from qa.stores.definitions import read_definition_texts
from qa.stores.disk import disk_full, is_disk_full, put_in_place
from qa.stores.pack_archive import manifest_path_of
from qa.stores.publishing import publish_snapshot
from qa.stores.settings import NetworkFolder, read_network_text
from qa.stores.snapshots import Snapshot, list_snapshot_ids, open_snapshot
from qa.stores.warehouse import open_warehouse

BY = "computed again"
THEN = "as-known"
NOT_ISSUED = 0
"""Stands for the number of a pack that is only looked at."""
Rules = tuple[str, dict[str, dict[str, str]]]


@contextmanager
def computed_again(
    folder: Path,
    *,
    moment: datetime,
    rules: Rules,
    software_version: str,
    environ: Mapping[str, str] | None = None,
    progress: Progress = show_nothing,
) -> Iterator[Snapshot]:
    """The snapshot that a refresh at a moment would have published, judged whole.

    It is made from exam versions, files and closed months as the warehouse knew them then, and
    lies in a temporary folder for as long as it is used. Nothing else is written.

    Args: rules: network.toml and definition files that judge.
    Raises: WarehouseError; SnapshotError SNP-010 when there is no room.
    """
    network_text, texts = rules
    with (
        tempfile.TemporaryDirectory(prefix="elastoqa-") as there,
        open_warehouse(NetworkFolder(folder).warehouse, as_known_at=moment) as warehouse,
    ):
        done = find_frames(
            warehouse,
            folder,
            texts=texts,
            at=moment,
            by=BY,
            network=parse_network(network_text, where="network.toml of the snapshot"),
            environ=environ,
            progress=progress,
        )
        snapshot_id, _ = publish_snapshot(
            Path(there) / "snapshots",
            frames=done.frames,
            network_text=network_text,
            definition_texts=texts,
            published_at=moment,
            software_version=software_version,
            is_current=False,
        )
        snapshot = open_snapshot(Path(there), snapshot_id)
        try:
            yield snapshot
        finally:
            snapshot.close()


@dataclass(frozen=True)
class PacksThen:
    """Packs as they would have been issued. rules_from: the snapshot whose rules judged; ""."""

    paths: tuple[Path, ...]
    rules_from: str


def make_packs_then(
    folder: Path,
    *,
    month: date,
    moment: datetime,
    render: Render,
    software_version: str,
    choose: Choose,
    out: Path | None = None,
    environ: Mapping[str, str] | None = None,
    progress: Progress = show_nothing,
) -> PacksThen:
    """What would have been issued at a moment; it is no issue and stays out of the archive.

    What judges is network.toml and the definitions of the snapshot in force then; before the
    first one, today's.

    Args: out: folder for the files; None: packs/as-known/<moment>/<month>.
    Raises: WarehouseError; PackError PCK-001, PCK-002 as for packs, PCK-004, PCK-011.
    """
    rules, rules_from = _rules_at(folder, moment)
    target = out or folder / "packs" / THEN / f"{moment:%Y%m%dT%H%M%SZ}" / f"{month:%Y-%m}"
    paths: list[Path] = []
    with ExitStack() as stack:
        fresh = stack.enter_context(
            computed_again(
                folder,
                moment=moment,
                rules=rules,
                software_version=software_version,
                environ=environ,
                progress=progress,
            )
        )
        chosen = choose(fresh)
        reader = None
        if environ is not None:
            store = open_record(folder, environ=environ)
            stack.callback(store.close)
            reader = FactsReader(store, folder, fresh)
        maker = PackMaker(folder, fresh, reader, render)
        for done, request in enumerate(chosen):
            progress(done, len(chosen), request.unit_id)
            paths.append(_write(maker, request, moment, target))
    progress(len(chosen), len(chosen), "packs")
    return PacksThen(tuple(paths), rules_from)


def _write(maker: PackMaker, request: PackRequest, moment: datetime, target: Path) -> Path:
    facts = maker.reader.read(request, known_at=moment) if maker.reader else None
    pack = maker.draw(request, NOT_ISSUED, facts)
    path = target / f"{request.name(NOT_ISSUED)}.pdf"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for final, content in ((manifest_path_of(path), pack.manifest), (path, pack.pdf)):
            unfinished = final.with_name(f".unfinished-{final.name}")
            unfinished.write_bytes(content)
            put_in_place(unfinished, final)
    except OSError as problem:
        if is_disk_full(problem):
            kept = "issued packs are as they were"
            raise disk_full(PackError, where=str(target), kept=kept, code="PCK-004") from None
        raise PackError(
            f"the pack cannot be written ({problem.strerror})", where=str(target), code="PCK-004"
        ) from None
    return path


def _rules_at(folder: Path, moment: datetime) -> tuple[Rules, str]:
    """The rules in force at a moment, and the snapshot that they come from ("": today's)."""
    snapshots = NetworkFolder(folder).snapshots
    before = [one for one in list_snapshot_ids(snapshots) if published_at_of(one) <= moment]
    if not before:
        return (read_network_text(folder), read_definition_texts()), ""
    newest = max(before, key=published_at_of)
    snapshot = open_snapshot(folder, newest)
    try:
        return snapshot.rule_texts(), newest
    finally:
        snapshot.close()


def under_its_name(fresh: Snapshot, issued: Snapshot) -> Snapshot:
    """What was computed again, under the id and time of the snapshot that it is held against."""
    return replace(
        fresh,
        snapshot_id=issued.snapshot_id,
        published_at=issued.published_at,
        software_version=issued.software_version,
    )
