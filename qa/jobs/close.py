"""Close a month: from then on, what arrives for it is a restatement and counted as such."""

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import polars as pl

from qa.jobs.charting import find_intake_months
from qa.model.errors import WrongUse
from qa.model.months import month_name
from qa.model.words import IntakeState
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import open_warehouse
from qa.stores.warehouse_history import append_month_close, month_closes

OPEN_STATES = (IntakeState.LATE, IntakeState.NOT_DUE, IntakeState.PARTIAL, IntakeState.THIN)


@dataclass(frozen=True)
class CloseReport:
    """What was closed. left_open: sentences about sites whose month was not simply in."""

    month: date
    n_exams: int
    left_open: tuple[str, ...]


def run_close(folder: Path, *, month: date, by: str | None, at: datetime) -> CloseReport:
    """Close a month for the whole network, once and for all.

    Args:
        by: stands beside the decision.
        at: now, UTC; the month has to be over in every site's time zone.
    Raises: WrongUse when the month is not over, holds no exams or was closed before;
        NetworkFolderError, WarehouseError.
    """
    network = load_network(folder)
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        closed = month_closes(warehouse).filter(pl.col("month") == month)
        if closed.height:
            moment = closed["known_at"][0]
            _refuse(f"{month_name(month)} was closed on {moment:%Y-%m-%d}", "USE-023")
        months = find_intake_months(warehouse, network, at=at).filter(pl.col("month") == month)
        if not months["n_exams"].sum():
            _refuse(f"{month_name(month)} holds no exams", "USE-024")
        if (months["state"] == IntakeState.RUNNING).any():
            _refuse(f"{month_name(month)} is not over", "USE-025")
        row = {"month": month, "closed_by": by, "known_at": at}
        append_month_close(
            warehouse, pl.DataFrame([row], schema_overrides={"closed_by": pl.String})
        )
    names = {site.id: site.name for site in network.sites}
    return CloseReport(
        month,
        int(months["n_exams"].sum()),
        tuple(
            f"{names[row['site_id']]}: {row['sentence']}"
            for row in months.filter(pl.col("state").is_in(OPEN_STATES)).iter_rows(named=True)
        ),
    )


def _refuse(what: str, code: str) -> None:
    raise WrongUse(what, todo="Nothing was changed", code=code)
