"""What is known of files so far: in the warehouse, and earlier in the same intake."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

_INSTANT = timedelta(microseconds=1)


@dataclass
class _Known:
    name: str
    state: str
    problem: str | None
    fingerprint: str | None
    first_seq: int | None


class FileLedger:
    """Answers by file (its SHA-256) and the site that sent it.

    Args:
        known: the warehouse's known_files().
        withdrawn: files that do not count, each with the site under which it was read.
    """

    def __init__(
        self, known: pl.DataFrame, *, withdrawn: Collection[tuple[str, str | None]] = ()
    ) -> None:
        self._withdrawn = withdrawn
        self._known: dict[tuple[str, str | None], _Known] = {}
        self._sites: dict[str, list[str | None]] = {}
        self._last_at: dict[str, datetime] = {}
        for row in known.iter_rows(named=True):
            facts = ("name", "state", "problem", "intake_fingerprint", "first_seq")
            self._keep(row["file_id"], row["site_id"], _Known(*(row[fact] for fact in facts)))
            self._keep_moment(row["file_id"], row["known_at"])

    def _keep_moment(self, file_id: str, moment: datetime) -> None:
        self._last_at[file_id] = max(moment, self._last_at.get(file_id, moment))

    def first_seq(self, file_id: str, site_id: str | None) -> int | None:
        """The file's place among all files; None where it is new."""
        known = self._known.get((file_id, site_id))
        return known.first_seq if known else None

    def is_read(self, file_id: str, site_id: str | None, fingerprint: str) -> bool:
        """Read before, with nothing changed that decides how it is read."""
        known = self._known.get((file_id, site_id))
        return known is not None and known.state == "read" and known.fingerprint == fingerprint

    def is_refused(self, file_id: str, site_id: str | None, name: str, problem: str) -> bool:
        """Refused before for the same reason."""
        known = self._known.get((file_id, site_id))
        return known is not None and (known.state, known.name, known.problem) == (
            "refused",
            name,
            problem,
        )

    def other_site(self, file_id: str, site_id: str | None) -> str | None:
        """The site under which the same bytes were read and count, where it is another."""
        return next(
            (
                site or "(a file of several sites)"
                for site in self._sites.get(file_id, ())
                if site != site_id
                and self._known[(file_id, site)].state == "read"
                and (file_id, site) not in self._withdrawn
            ),
            None,
        )

    def _keep(self, file_id: str, site_id: str | None, known: _Known) -> None:
        self._known[(file_id, site_id)] = known
        self._sites.setdefault(file_id, []).append(site_id)

    def note(
        self,
        file_id: str,
        site_id: str | None,
        *,
        name: str,
        known_at: datetime,
        fingerprint: str | None = None,
        problem: str | None = None,
    ) -> datetime:
        """Note a reading, or a refusal where there is a problem.

        Returns: when it counts as known: now, or an instant after the file's last entry, so that
            no two entries of the same bytes have the same time.
        """
        last = self._last_at.get(file_id)
        moment = known_at if last is None or last < known_at else last + _INSTANT
        self._keep_moment(file_id, moment)
        state = "refused" if problem else "read"
        first_seq = self.first_seq(file_id, site_id)
        known = _Known(name, state, problem, fingerprint, first_seq)
        if (file_id, site_id) in self._known:
            self._known[(file_id, site_id)] = known
        else:
            self._keep(file_id, site_id, known)
        return moment
