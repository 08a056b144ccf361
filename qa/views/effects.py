"""Did it work? Each planned action with its criterion, its newest check and the figures of it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from qa.followup.cases import Case
from qa.model.case_words import CaseState, EffectVerdict
from qa.model.definitions import Network
from qa.model.words import PointState
from qa.views import words
from qa.views.names import unit_name

_SAID: dict[str, tuple[str, str]] = {
    EffectVerdict.EFFECTIVE: ("it worked", PointState.STEADY.value),
    EffectVerdict.NOT_EFFECTIVE: ("it did not work", PointState.LOOK.value),
    EffectVerdict.TOO_FEW: ("too few exams to tell", PointState.WATCH.value),
    EffectVerdict.NOT_YET: ("too early to tell", PointState.WATCH.value),
}


@dataclass(frozen=True)
class EffectRow:
    """One planned action.

    Args:
        criterion: what was agreed before the action. figures: of the newest check; "" before one.
        said: the verdict, or what it waits for. state: of the mark beside it.
    """

    case_id: str
    site_name: str
    action: str
    criterion: str
    figures: str
    said: str
    state: str


def effect_rows(cases: Iterable[Case], *, network: Network, on: date) -> tuple[EffectRow, ...]:
    """What did not work first, then what is due, then what worked."""
    found = [_row(case, network, on) for case in cases if case.plan is not None]
    order = {PointState.LOOK.value: 0, PointState.WATCH.value: 1, PointState.STEADY.value: 2}
    return tuple(sorted(found, key=lambda row: (order.get(row.state, 1), row.case_id)))


def _row(case: Case, network: Network, on: date) -> EffectRow:
    assert case.plan is not None
    last = case.last_check
    said, state = _SAID[last.verdict] if last else _waiting(case, on)
    step = f", {case.plan.step}" if case.plan.step else ""
    return EffectRow(
        case_id=case.case_id,
        site_name=unit_name(network, "site", case.site_id) if case.site_id else "Whole network",
        action=f"{case.plan.kind}{step}: {case.plan.words}",
        criterion=criterion_words(case),
        figures=_figures(last.figures, str(last.checked_on)) if last else "",
        said=said,
        state=state,
    )


def _waiting(case: Case, on: date) -> tuple[str, str]:
    assert case.plan is not None
    day = case.plan.criterion.check_on
    if case.state_on(on) is CaseState.CHECK_DUE:
        return f"the check is due since {day}", PointState.WATCH.value
    if case.done_on is None or case.step is CaseState.ACTION_PLANNED:
        return f"the action is to be done by {case.plan.due_on}", PointState.WATCH.value
    return f"checked from {day} on", PointState.WATCH.value


def criterion_words(case: Case) -> str:
    """Example: 'MSR-001 at most 12.0 % in each of 3 months, from 2027-03-01'"""
    assert case.plan is not None
    told = case.plan.criterion
    limit = f"{'at most' if told.is_below else 'at least'} {words.percent(told.threshold_share)}"
    months = words.counted(told.n_months, "month")
    return f"{told.measure_id} {limit} in each of {months}, from {told.check_on}"


def _figures(told: Mapping[str, Any], checked_on: str) -> str:
    """Example: '21 of 300, 7.0 % (4.6 to 10.5), checked 2027-03-02'"""
    if not told.get("n"):
        return f"no exams counted, checked {checked_on}"
    share = words.percent_with_interval(told["value"], told["lower"], told["upper"])
    return f"{told['n_events']} of {told['n']}, {share}, checked {checked_on}"


def worked_sentence(cases: Iterable[Case]) -> str:
    """Example: 'Of 3 actions checked, 2 worked and 1 did not.'"""
    verdicts = [case.last_check.verdict for case in cases if case.last_check]
    n, n_good = len(verdicts), verdicts.count(EffectVerdict.EFFECTIVE)
    n_bad = verdicts.count(EffectVerdict.NOT_EFFECTIVE)
    if not n:
        return "No action was checked yet."
    checked = "The one action checked" if n == 1 else f"Of {n} actions checked,"
    if n == 1:
        return f"{checked} {'worked' if n_good else 'did not work' if n_bad else 'cannot be told'}."
    open_text = f", {n - n_good - n_bad} cannot be told yet" if n > n_good + n_bad else ""
    return f"{checked} {n_good} worked and {n_bad} did not{open_text}."
