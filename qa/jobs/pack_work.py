"""Make many packs, here or in several processes; one that fails does not stop the others."""

import multiprocessing
import traceback
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from qa.jobs.followup.opening import open_record
from qa.jobs.pack_facts import FactsReader
from qa.jobs.pack_issue import PackMaker, Render
from qa.model.errors import UserError
from qa.model.pack_request import PackRequest
from qa.stores.signing import load_signer
from qa.stores.snapshots import open_snapshot


@dataclass(frozen=True)
class PackJob:
    """What every process is told: the folder, the one snapshot, and how to draw.

    Args:
        environ: to open the record of decisions; None: packs are made without it.
    """

    folder: Path
    snapshot_id: str
    render: Render
    environ: Mapping[str, str] | None
    reason: str = ""


@dataclass(frozen=True)
class Made:
    path: Path
    is_new: bool


@dataclass(frozen=True)
class Failure:
    """message: what went wrong, in words that the reader can act on."""

    unit_id: str
    message: str


@contextmanager
def open_maker(job: PackJob) -> Iterator[PackMaker]:
    """Raises: SnapshotError, FollowupError, PackError PCK-040 to PCK-041."""
    with ExitStack() as stack:
        snapshot = open_snapshot(job.folder, job.snapshot_id)
        stack.callback(snapshot.close)
        reader = None
        if job.environ is not None:
            store = open_record(job.folder, environ=job.environ)
            stack.callback(store.close)
            reader = FactsReader(store, job.folder, snapshot)
        signer = load_signer(job.folder, snapshot.network.signing, environ=job.environ or {})
        yield PackMaker(job.folder, snapshot, reader, job.render, signer, job.reason)


def make_here(
    job: PackJob, chosen: Sequence[PackRequest]
) -> Iterator[tuple[PackRequest, Made | Failure]]:
    """One after the other, in this process."""
    with open_maker(job) as maker:
        for request in chosen:
            yield request, make_one(maker, request)


def make_in_processes(
    job: PackJob, chosen: Sequence[PackRequest], processes: int
) -> Iterator[tuple[PackRequest, Made | Failure]]:
    """Several at the same time, as they get done.

    Where a process dies, what it took with it is tried once more, each in a process of its own, so
    that only the pack that kills its process is lost.
    """
    unfinished = dict.fromkeys(chosen)
    try:
        for request, outcome in _run(job, chosen, processes):
            del unfinished[request]
            yield request, outcome
    except BrokenProcessPool:
        for request in unfinished:
            try:
                yield from _run(job, [request], 1)
            except BrokenProcessPool:
                why = "the process that made it was ended from outside or ran out of memory"
                yield request, Failure(request.unit_id, f"[PCK-010] {why}.")


def _run(
    job: PackJob, chosen: Sequence[PackRequest], processes: int
) -> Iterator[tuple[PackRequest, Made | Failure]]:
    """Raises: BrokenProcessPool."""
    context = multiprocessing.get_context("spawn")
    n = min(processes, len(chosen))
    with ProcessPoolExecutor(n, context, initializer=_begin, initargs=(job,)) as pool:
        waiting: dict[Future[Made | Failure], PackRequest] = {
            pool.submit(_make, request): request for request in chosen
        }
        try:
            for future in as_completed(waiting):
                yield waiting[future], future.result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


_OWN: list[tuple[ExitStack, PackMaker]] = []
"""The maker of this process, where it is one of several."""


def _begin(job: PackJob) -> None:
    stack = ExitStack()
    _OWN.append((stack, stack.enter_context(open_maker(job))))


def _make(request: PackRequest) -> Made | Failure:
    return make_one(_OWN[0][1], request)


def make_one(maker: PackMaker, request: PackRequest) -> Made | Failure:
    """Issue one pack; whatever goes wrong is said and stops nothing else."""
    try:
        issue, is_new = maker.issue(request)
        return Made(issue.pdf_path, is_new)
    except UserError as problem:
        return Failure(request.unit_id, problem.message)
    except Exception as bug:  # A fault of ours in one pack: its place, and no values.
        last = traceback.extract_tb(bug.__traceback__)[-1]
        place = f"{Path(last.filename).name}:{last.lineno}"
        return Failure(
            request.unit_id, f"[PCK-009] The fault is ours ({type(bug).__name__} at {place})."
        )
