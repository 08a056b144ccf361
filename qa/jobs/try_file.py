"""Try a file that somebody sends to the screens: propose a profile, or preview the present one.

The file's bytes stay in memory: nothing of it is written, to the warehouse or to a disk.
"""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from qa.jobs.profile import run_profile_suggest
from qa.jobs.profile_preview import run_profile_check
from qa.stores.settings import load_network
from qa.views.tried import Proposal, Trial, counts_text, dates_text, proposal_view, trial_view


class FileTrial:
    """What the Intake screen is handed to try files with; network.toml is read anew each time."""

    def __init__(
        self, folder: Path, *, find_key: Callable[[], bytes], now: Callable[[], datetime]
    ) -> None:
        self._folder = folder
        self._find_key = find_key
        self._now = now

    def network_name(self) -> str:
        """Raises: NetworkFolderError."""
        return load_network(self._folder).name

    def sites(self) -> tuple[tuple[str, str], ...]:
        """(id, name) of each site.   Raises: NetworkFolderError."""
        return tuple((site.id, site.name) for site in load_network(self._folder).sites)

    def suggest(self, *, name: str, content: bytes, site_id: str | None) -> Proposal:
        """Raises: as run_profile_suggest."""
        found = run_profile_suggest(self._folder, file=Path(name), site_id=site_id, content=content)
        return proposal_view(found.suggestion, text=found.text, n_rows=found.n_rows)

    def check(
        self, *, name: str, content: bytes, site_id: str | None, profile_text: str = ""
    ) -> Trial:
        """By the site's own profile, or by one that was sent along.

        Raises: as run_profile_check; KeyMissing.
        """
        seen = run_profile_check(
            self._folder,
            file=Path(name),
            site_id=site_id,
            key=self._find_key(),
            known_at=self._now(),
            content=content,
            profile_text=profile_text,
        )
        facts = [
            ("Exams", dates_text(seen.first_day, seen.last_day)),
            ("Units, by rows", counts_text(seen.units)),
            ("Columns left outside", str(seen.n_dropped_columns)),
        ]
        if seen.n_attempts_unknown:
            facts.append(("Exams without attempts", f"{seen.n_attempts_unknown:,}"))
        if seen.modes:
            facts.append(("Acquisition modes", counts_text(seen.modes)))
        if seen.remark:
            facts.append(("Quartiles", seen.remark))
        return trial_view(
            profile_id=seen.profile_id,
            n_accepted=seen.n_accepted,
            n_quarantined=seen.n_quarantined,
            facts=tuple(facts),
            waiting=seen.waiting,
            flagged=seen.flagged,
            first_rows=seen.first_rows,
        )
