"""Read export files into the warehouse: every file whole, every row accepted or quarantined.

Files stay where they are. Each is written whole or not at all; a fault in one leaves the others in.
"""

from collections.abc import Collection, Sequence
from datetime import datetime
from pathlib import Path

import polars as pl

from qa.intake.profile_check import check_profile
from qa.intake.registers import registers_of
from qa.jobs.intake_batch import write_batch
from qa.jobs.intake_fingerprint import intake_fingerprint
from qa.jobs.intake_ledger import FileLedger
from qa.jobs.intake_reading import FAULTS, Arrival, ReadAhead, in_portions
from qa.jobs.intake_report import IntakeReport, our_fault
from qa.jobs.intake_slices import RawFile
from qa.jobs.intake_sources import Source, find_sources
from qa.model.definitions import Network, Profile
from qa.model.errors import KeyMissing, SourceFileError, UserError, WarehouseError
from qa.model.progress import Progress, show_nothing
from qa.model.schemas import EXAMS, FILES, QUARANTINED
from qa.readers.whole_file import CHANGED, hash_file
from qa.stores.disk import is_disk_full
from qa.stores.key import key_fingerprint
from qa.stores.quarantine import files_due
from qa.stores.settings import NetworkFolder, load_network, load_profiles
from qa.stores.warehouse import Warehouse, open_warehouse
from qa.stores.warehouse_history import withdrawn_files
from qa.stores.warehouse_lock import WAIT_SECONDS

BATCH_BYTES = 64_000_000
_KEY_FACT = "key_fingerprint"
_FILE_COUNTS = ("n_rows", "n_accepted", "n_unchanged", "n_quarantined", "n_dropped_columns")


def run_intake(
    folder: Path,
    *,
    files: Sequence[Path] = (),
    site_id: str | None = None,
    key: bytes,
    known_at: datetime,
    wait_seconds: float = WAIT_SECONDS,
    by: str | None = None,
    again: Collection[str] = (),
    progress: Progress = show_nothing,
) -> IntakeReport:
    """Read new and mended files of a network folder into its warehouse.

    Args:
        files: these files; without them everything under incoming/<site>/.
        site_id: the site that sent them; without it the folder under incoming/ says so.
        wait_seconds: how long to wait while another program has the warehouse.
        key: the pseudonym key.
        known_at: now, UTC; exams after it lie in the future.
        by: who has the files read.
        again: SHA-256 of files that are read again in any case.
    Returns: what was done. A file that was read before with the same profile, operators and
        devices is left alone, unless one of its rows lay in the future then and does not any
        more; a refused one is tried again.
    Raises: NetworkFolderError, ProfileError (a profile that is no TOML), WarehouseError,
        KeyMissing (another key than before). Faults of single files are in the report.
    """
    network, profiles = load_network(folder), load_profiles(folder)
    sources = find_sources(
        folder, files=files, site_id=site_id, network=network, profiles=profiles, key=key
    )
    path = NetworkFolder(folder).warehouse
    with open_warehouse(path, create=True, wait_seconds=wait_seconds) as warehouse:
        require_same_key(warehouse, key)
        due = files_due(warehouse, at=known_at)
        intake = _Intake(
            warehouse, network, key=key, known_at=known_at, by=by, again={*again, *due}
        )
        arrived = intake.in_order(sources)
        number = 0
        for portion in in_portions(arrived):
            intake.look_ahead(portion)
            for source, file_id in portion:
                place = f"{source.site_id or 'files'}: {source.name}"
                progress(number, len(arrived), f"Reading {place}")
                intake.read(source, file_id)
                number += 1
        intake.write()
        progress(len(arrived), len(arrived), "Reading files")
    return intake.report


def require_same_key(warehouse: Warehouse, key: bytes) -> None:
    """Hold the key against the one that the warehouse was filled with; the first one is noted.

    Raises: KeyMissing KEY-004 when it is another one.
    """
    fingerprint = key_fingerprint(key)
    known = warehouse.meta(_KEY_FACT)
    if known is None:
        warehouse.set_meta(_KEY_FACT, fingerprint)
    elif known != fingerprint:
        raise KeyMissing(
            "this is another pseudonym key than the one that the warehouse was filled with",
            expected=f"the key with the fingerprint {known}",
            todo="Restore that key from your backup; nothing was read",
            code="KEY-004",
        )


class _Intake:
    """The state of one run: what is known, what waits to be written, what was done."""

    def __init__(
        self,
        warehouse: Warehouse,
        network: Network,
        *,
        key: bytes,
        known_at: datetime,
        by: str | None,
        again: set[str],
    ) -> None:
        self.report = IntakeReport()
        self._warehouse = warehouse
        self._network = network
        self._registers = registers_of(network)
        self._key = key
        self._known_at = known_at
        self._by = by
        self._again = again
        self._withdrawn = withdrawn_files(warehouse)
        self._ledger = FileLedger(warehouse.known_files(), withdrawn=self._withdrawn)
        self._fingerprints: dict[tuple[str, str | None], str] = {}
        self._pending: list[tuple[Source, RawFile]] = []
        self._pending_profile: Profile | None = None
        self._pending_bytes = 0
        self._ahead = ReadAhead()

    def in_order(self, sources: Sequence[Source]) -> list[Arrival]:
        """Files that can be opened, with their ids; those seen before first, as they came then."""
        arrived = []
        for source in sources:
            try:
                arrived.append((source, hash_file(source.path, name=source.name)))
            except SourceFileError as problem:
                self._count_refusal(problem)
        return sorted(arrived, key=self._place)

    def _place(self, arrival: Arrival) -> tuple[str, float]:
        source, file_id = arrival
        first_seq = self._ledger.first_seq(file_id, source.site_id)
        return source.site_id or "", float("inf") if first_seq is None else first_seq

    def look_ahead(self, arrivals: Sequence[Arrival]) -> None:
        """Prepare the files that come next."""
        self._ahead.look(one for one in arrivals if self._is_wanted(*one))

    def _is_wanted(self, source: Source, file_id: str) -> bool:
        try:
            fingerprint = self._fingerprint(source.required_profile(), source.site_id)
        except UserError:
            return False
        return not self._is_known(source, file_id, fingerprint)

    def _is_known(self, source: Source, file_id: str, fingerprint: str) -> bool:
        """Read before, and not to be read again; or withdrawn."""
        is_read = self._ledger.is_read(file_id, source.site_id, fingerprint)
        is_out = (file_id, source.site_id) in self._withdrawn
        return (is_read and file_id not in self._again) or is_out

    def read(self, source: Source, file_id: str) -> None:
        """Read one file, or leave it alone, or refuse it; its rows are written with its batch."""
        try:
            profile = source.required_profile()
            fingerprint = self._fingerprint(profile, source.site_id)
            if self._is_known(source, file_id, fingerprint):
                self.report.n_files_known += 1
                return
            self._again.discard(file_id)
            self._require_one_site(source, file_id)
            taken = self._ahead.take(source, file_id, profile)
        except UserError as problem:
            self._refuse(source, file_id, problem)
            return
        except FAULTS as problem:
            self._blame_us(source, file_id, problem)
            return
        file = RawFile(
            file_id=file_id,
            name=source.name,
            site_id=source.site_id,
            first_seq=self._ledger.first_seq(file_id, source.site_id),
            intake_fingerprint=fingerprint,
            known_at=self._note(source, file_id, fingerprint=fingerprint),
            taken=taken,
            read_by=self._by,
        )
        self._add(source, file, profile)

    def _note(self, source: Source, file_id: str, **facts: str) -> datetime:
        return self._ledger.note(
            file_id, source.site_id, name=source.name, known_at=self._known_at, **facts
        )

    def _fingerprint(self, profile: Profile, site_id: str | None) -> str:
        """Changes when the file would be read otherwise; also refuses a profile that is wrong."""
        place = (profile.full_id, site_id)
        if place not in self._fingerprints:
            check_profile(profile)
            self._fingerprints[place] = intake_fingerprint(self._network, profile, site_id)
        return self._fingerprints[place]

    def _require_one_site(self, source: Source, file_id: str) -> None:
        other = self._ledger.other_site(file_id, source.site_id)
        if other is not None:
            raise SourceFileError(
                f"the same file was read before as sent by {other}",
                where=source.name,
                expected="each file in the folder of the site that sent it",
                todo="Remove the copy that is in the wrong folder. Where the first reading was "
                f"wrong, first: elastoqa withdraw {file_id[:12]} --reason WORDS",
                code="INT-016",
            )

    def _blame_us(self, source: Source, file_id: str, fault: BaseException) -> None:
        self.report.keep_fault(fault)
        self._refuse(source, file_id, our_fault(fault, name=source.name))

    def _refuse(self, source: Source, file_id: str, problem: UserError) -> None:
        self._count_refusal(problem)
        if problem.code == CHANGED:
            return
        text = problem.message
        if self._ledger.is_refused(file_id, source.site_id, source.name, text):
            return
        moment = self._note(source, file_id, problem=text)
        row = {
            "file_id": file_id,
            "name": source.name,
            "site_id": source.site_id,
            "profile_id": source.profile.full_id if source.profile else None,
            "state": "refused",
            "problem": text,
            **dict.fromkeys(_FILE_COUNTS, 0),
            "known_at": moment,
            "read_by": self._by,
        }
        self._warehouse.append_file(
            pl.DataFrame([row], schema_overrides=FILES.to_polars()),
            EXAMS.empty(),
            QUARANTINED.empty(),
        )

    def _count_refusal(self, problem: UserError) -> None:
        self.report.n_files_refused += 1
        self.report.problems.append(problem)

    def _add(self, source: Source, file: RawFile, profile: Profile) -> None:
        n_bytes = file.taken.n_bytes
        if profile != self._pending_profile or self._pending_bytes + n_bytes > BATCH_BYTES:
            self.write()
        self._pending.append((source, file))
        self._pending_profile = profile
        self._pending_bytes += n_bytes
        if self._pending_bytes >= BATCH_BYTES:  # let go of a large file before the next is read
            self.write()

    def write(self) -> None:
        """Write the batch that waits."""
        files, profile = self._pending, self._pending_profile
        self._pending, self._pending_bytes = [], 0
        if files and profile is not None:
            self._write(files, profile)

    def _write(self, files: list[tuple[Source, RawFile]], profile: Profile) -> None:
        """Write files together; where that fails, each alone, so that only the faulty one waits."""
        n_written = 0
        try:
            for written in write_batch(
                self._warehouse,
                [file for _, file in files],
                profile=profile,
                registers=self._registers,
                key=self._key,
            ):
                self.report.add(written)
                n_written += 1
        except FAULTS as problem:
            if isinstance(problem, WarehouseError | OSError) or is_disk_full(problem):
                raise
            left = files[n_written:]
            if len(left) == 1:
                source, file = left[0]
                if isinstance(problem, UserError):
                    self._refuse(source, file.file_id, problem)
                else:
                    self._blame_us(source, file.file_id, problem)
                return
            for one in left:
                self._write([one], profile)
