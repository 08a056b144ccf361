"""What a person enters for an action and its criterion → what is decided on."""

from dataclasses import dataclass
from datetime import date

from qa.followup.cases import Case, Criterion
from qa.followup.decide_action import ActionPlan
from qa.jobs.followup.evidence import unit_values
from qa.measures import NETWORK_UNIT_ID
from qa.model.errors import FollowupError
from qa.model.published import Published
from qa.model.words import Better, UnitKind


@dataclass(frozen=True)
class PlanForm:
    """An action as entered. Left empty, measure and unit are those of the case's first item.

    Without an item the unit is the case's site.

    Args:
        kind: retraining, device service, protocol change, recall of patients or other.
        step: of the technique, for a retraining. device_id: for a service.
        decided_by_clinic: who at the clinic decided, for a recall of patients.
        threshold_percent: the limit that each month must keep; on it is kept.
        is_below: True: at most, False: at least; None: as the measure is better.
        n_months, min_n: consecutive months with at least so many exams each.
        check_on: day from which the check can be run; the months before it count.
    """

    kind: str
    words: str
    owner: str
    due_on: date
    threshold_percent: float
    check_on: date
    n_months: int = 3
    min_n: int = 50
    is_below: bool | None = None
    measure_id: str = ""
    unit_kind: str = ""
    unit_id: str = ""
    step: str = ""
    device_id: str = ""
    decided_by_clinic: str = ""


def plan_of_form(form: PlanForm, case: Case, published: Published) -> ActionPlan:
    """Fill in what was left empty, and which criteria set the check goes by.

    Raises: FollowupError FUP-028 where measure or unit are missing, unknown or without exams, or
        where it is open which direction is meant.
    """
    first = case.items[0] if case.items else None
    measure_id = form.measure_id or (first.measure_id if first else "")
    own = (first.unit_kind, first.unit_id) if first else _own_unit(case)
    kind, unit_id = (form.unit_kind, form.unit_id) if form.unit_kind else own
    values = unit_values(published, measure_id, kind, unit_id)
    if values.is_empty():
        raise FollowupError(
            f"no exams of the {kind[:60]} '{unit_id[:60]}' are published",
            where="criterion",
            expected="a unit with exams, for example the one of the case's item",
            code="FUP-028",
        )
    criterion = Criterion(
        measure_id=measure_id,
        unit_kind=kind,
        unit_id=unit_id,
        criteria_id=values.sort("month", "criteria_id").row(-1, named=True)["criteria_id"],
        is_below=_is_below(form, published, measure_id),
        threshold_share=round(form.threshold_percent / 100, 6),
        n_months=form.n_months,
        min_n=form.min_n,
        check_on=form.check_on,
    )
    return ActionPlan(
        kind=form.kind,
        words=form.words,
        owner=form.owner,
        due_on=form.due_on,
        criterion=criterion,
        step=form.step,
        device_id=form.device_id,
        decided_by_clinic=form.decided_by_clinic,
    )


def _own_unit(case: Case) -> tuple[str, str]:
    """The unit of a case that was opened by hand."""
    if case.site_id is None:
        return UnitKind.NETWORK, NETWORK_UNIT_ID
    return UnitKind.SITE, case.site_id


def _is_below(form: PlanForm, published: Published, measure_id: str) -> bool:
    if form.is_below is not None:
        return form.is_below
    better = published.definitions.measures[measure_id].better
    if better == Better.NEITHER:
        raise FollowupError(
            f"{measure_id} is good in neither direction",
            where="criterion",
            expected="say whether at most or at least is meant",
            code="FUP-028",
        )
    return better == Better.LOWER
