"""Models of expected events as a person sees them and fits them anew: a new version each time."""

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from qa.case_mix.model import fit_model
from qa.model.errors import WrongUse
from qa.model.months import add_months, month_name
from qa.stores.definitions import load_definitions
from qa.stores.risk_store import append_models, risk_models
from qa.stores.settings import NetworkFolder, load_network
from qa.stores.warehouse import open_warehouse
from qa.views.baselines import find_measure
from qa.views.scope import criteria_of_month


@dataclass(frozen=True)
class FittedNow:
    """A model that was fitted: its row of RISK_MODELS and the measure's title."""

    row: dict
    measure_title: str


def list_models(folder: Path) -> list[FittedNow]:
    """Every model on record, by measure and version.

    Raises: NetworkFolderError, WarehouseError.
    """
    load_network(folder)
    measures = load_definitions().measures
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        rows = risk_models(warehouse).sort("measure_id", "criteria_id", "version_no")
    return [
        FittedNow(row, measures[row["measure_id"]].title if row["measure_id"] in measures else "")
        for row in rows.iter_rows(named=True)
    ]


def fit_new_model(
    folder: Path,
    *,
    measure: str,
    from_month: date,
    to_month: date,
    in_force_from: date | None,
    by: str,
    reason: str,
    at: datetime,
) -> FittedNow:
    """Fit a measure's model anew on stated months; it judges from a stated month on.

    Args:
        measure: id or key.
        in_force_from: None: the month after to_month. Months before keep the model that judged
            them, so nothing that was published is judged again.
    Raises: WrongUse: nothing is adjusted, months the wrong way round, too few events, or a newer
        model is in force by then; NetworkFolderError, WarehouseError.
    """
    network, definitions = load_network(folder), load_definitions()
    wanted = find_measure(definitions, measure)
    adjustment = definitions.adjustment_of(wanted.id)
    if adjustment is None:
        _refuse(f"{wanted.title.lower()} are adjusted for nothing", "USE-050")
    assert adjustment is not None
    begins = in_force_from or add_months(to_month, 1)
    if not from_month <= to_month < begins:
        _refuse(
            f"{month_name(from_month)}, {month_name(to_month)} and {month_name(begins)} are in the "
            "wrong order",
            "USE-051",
            expected="the first month, the last month, and a later one from which it judges",
        )
    criteria_id = criteria_of_month(network, to_month) or ""
    with open_warehouse(NetworkFolder(folder).warehouse) as warehouse:
        known = risk_models(warehouse).filter(measure_id=wanted.id, criteria_id=criteria_id)
        newest = known["in_force_from"].max()
        if isinstance(newest, date) and newest >= begins:
            _refuse(
                f"a model that judges from {month_name(newest)} on is there already",
                "USE-052",
                expected=f"a month after {month_name(newest)}",
            )
        fitted = fit_model(
            warehouse.case_mix_counts(),
            measure=wanted,
            adjustment=adjustment,
            criteria_id=criteria_id,
            period=(from_month, to_month),
            in_force_from=begins,
            version_no=known.height + 1,
            set_at=at,
            set_by=by,
            reason=reason,
        )
        if fitted is None:
            _refuse(
                f"the months hold fewer than {adjustment.min_total_events} events",
                "USE-053",
                expected="a longer period, counted by 'elastoqa refresh'",
            )
        assert fitted is not None
        append_models(warehouse, fitted.model, fitted.coefficients)
    return FittedNow(fitted.model.row(0, named=True), wanted.title)


def _refuse(what: str, code: str, *, expected: str = "") -> None:
    raise WrongUse(what, expected=expected, todo="Nothing was changed", code=code)
