"""Practice of operators for refresh: from the counts and from operators' files."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import polars as pl

from qa.followup.competence import OPERATOR_FILE, OperatorFile
from qa.followup.practice import practice_months
from qa.jobs.followup.opening import open_record
from qa.model.definitions import Network
from qa.model.record import Event, time_text
from qa.stores.followup.engine import followup_url


def find_practice(
    folder: Path,
    network: Network,
    counts: pl.DataFrame,
    exams: pl.DataFrame,
    *,
    environ: Mapping[str, str],
    until: datetime,
) -> pl.DataFrame:
    """PRACTICE_MONTHS by the files as they were known at a moment.

    Raises: FollowupError FUP-001 to FUP-006.
    """
    files = _files(folder, network, environ=environ, until=until)
    wanted = network.settings.current_exams_a_year
    return practice_months(counts, exams, files, current_exams_a_year=wanted)


def _files(
    folder: Path, network: Network, *, environ: Mapping[str, str], until: datetime
) -> list[OperatorFile]:
    url = followup_url(folder, setting=network.settings.followup_url, environ=environ)
    if url.get_backend_name() == "sqlite" and not Path(url.database or "").exists():
        return []
    store = open_record(folder, environ=environ)
    try:
        with store.reading() as reading:
            found = reading.events(OPERATOR_FILE.name)
    finally:
        store.close()
    by_operator: dict[str, list[Event]] = {}
    for one in found:
        if one.at <= time_text(until):
            by_operator.setdefault(one.record_id, []).append(one)
    return [OPERATOR_FILE.replay(own) for own in by_operator.values()]
