"""One case: where it stands, what it holds, and the forms that its state allows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType

from qa.followup.case_events import plain_case
from qa.followup.cases import Case
from qa.followup.due import due_items
from qa.followup.effect import EffectResult
from qa.model.case_words import (
    ActionKind,
    CaseState,
    CauseCategory,
    CauseMethod,
    ExamDecision,
    RetrainingStep,
)
from qa.model.definitions import Measure, Network
from qa.model.months import month_name
from qa.views import words
from qa.views.followup import site_name

DAY, NUMBER, LINE, TEXT, CHOICE = "date", "number", "text", "area", "choice"
CHECKS = "checks"


@dataclass(frozen=True)
class Field:
    """One field of a form. kind: date, number, text, area, choice, or checks (several choices).

    hint: what belongs there.
    """

    name: str
    label: str
    kind: str
    options: tuple[tuple[str, str], ...] = ()
    value: str = ""
    hint: str = ""
    is_needed: bool = True


@dataclass(frozen=True)
class FormShown:
    """A form in place. what: the action it sends. has_exams: exams ticked above belong to it."""

    what: str
    title: str
    button: str
    fields: tuple[Field, ...] = ()
    has_exams: bool = False


@dataclass(frozen=True)
class CaseView:
    """A case as shown. months: rows of the check, each month, figures and verdict."""

    case_id: str
    answer: str
    subline: str
    facts: tuple[tuple[str, str], ...]
    exams: tuple[tuple[str, str, str], ...]
    months: tuple[tuple[str, str, str], ...]
    check_text: str
    comments: tuple[tuple[str, str], ...]
    history: tuple[tuple[str, str, str], ...]
    forms: tuple[FormShown, ...]
    seen: int


def _choice(name: str, label: str, options: Sequence[str], *, hint: str = "", needed: bool = True):
    pairs = (("", "choose"), *((str(one), str(one)) for one in options))
    return Field(name, label, CHOICE, pairs, hint=hint, is_needed=needed)


_WORDS = Field("words", "In words", TEXT)
_WHY = Field("why", "Why", TEXT)
_OWNER = Field("owner", "Who answers for it", LINE)
_DUE = Field("due_on", "By which day", DAY)

CONTAIN = FormShown("contain", "Contain", "Contained", (replace(_WORDS, label="Done at once"),))
LIST_EXAMS = FormShown("list-exams", "Exams concerned", "List those not reliable behind its items")
DECIDE_EXAMS = FormShown(
    "decide-exams",
    "Decide on the exams ticked above",
    "Decide",
    (
        _choice("decision", "What happens to them", list(ExamDecision)),
        replace(_WORDS, label="Why; for a recall, who at the clinic decided", is_needed=False),
    ),
    has_exams=True,
)
CAUSE = FormShown(
    "cause",
    "Cause",
    "Record the cause",
    (
        _choice("category", "Where it lies", list(CauseCategory)),
        _choice("method", "How it was found", list(CauseMethod)),
        replace(_WORDS, label="The cause"),
    ),
)
DONE = FormShown(
    "done",
    "Action",
    "The action was done",
    (Field("done_on", "On which day", DAY), replace(_WORDS, label="What was done")),
)
CHECK = FormShown("check", "Check", "Run the check and keep its result")
PUT_OFF = FormShown(
    "put-off",
    "Check later",
    "Put the check off",
    (Field("check_on", "To which day", DAY), _WHY),
)
CLOSE = FormShown(
    "close",
    "Close",
    "Close as effective",
    (replace(_WORDS, is_needed=False, label="Closing words"),),
)
REOPEN = FormShown("reopen", "Reopen", "Reopen", (_WHY,))
ASSIGN = FormShown("assign", "Owner and day", "Assign", (_OWNER, _DUE))
COMMENT = FormShown("comment", "Comment", "Comment", (_WORDS,))


def plan_form(measures: Mapping[str, Measure], first: str) -> FormShown:
    """An action with its criterion. first: the measure that is chosen already."""
    options = tuple((one.id, f"{one.id} {one.title}") for one in measures.values())
    return FormShown(
        "plan",
        "Action, and how it will be seen that it worked",
        "Plan the action",
        (
            _choice("kind", "What is done", list(ActionKind)),
            _choice(
                "step",
                "Step of the technique",
                list(RetrainingStep),
                needed=False,
                hint="for a retraining",
            ),
            Field("device_id", "Device", LINE, hint="for a service", is_needed=False),
            Field(
                "decided_by_clinic",
                "Who at the clinic decided",
                LINE,
                hint="for a recall",
                is_needed=False,
            ),
            replace(_WORDS, label="The action"),
            replace(_OWNER, label="Who does it"),
            replace(_DUE, label="Done by"),
            Field("measure_id", "Measure", CHOICE, options, value=first),
            Field(
                "threshold",
                "Limit in percent",
                NUMBER,
                hint="each month keeps it, on the side that is better",
            ),
            Field("n_months", "Months", NUMBER, value="3"),
            Field("min_n", "Exams in each, at least", NUMBER, value="50"),
            Field("check_on", "Check from", DAY, hint="the months before this day count"),
        ),
    )


def open_form(site_options: Sequence[tuple[str, str]], *, has_items: bool) -> FormShown:
    """Open a case, from items or by hand."""
    site = Field("site_id", "Site", CHOICE, tuple(site_options), is_needed=False)
    why = replace(_WHY, label="What was seen", is_needed=not has_items)
    fields = (Field("title", "A few words that name it", LINE), why, _OWNER, _DUE)
    return FormShown("open", "Open a case", "Open", fields if has_items else (*fields, site))


TAKE_UP = FormShown("take-up", "Take it up again", "Take it up again", (_WHY,))
DISMISS = FormShown("dismiss", "Or do not pursue it", "Reviewed, not pursued", (_WHY,))


def forms_of(
    case: Case, *, on: date, measures: Mapping[str, Measure], may_work: bool, may_decide: bool
) -> tuple[FormShown, ...]:
    """The forms that the state allows to somebody, the next step first."""
    state = case.state_on(on)
    verdict = case.last_check.verdict if case.last_check else ""
    first = case.items[0].measure_id if case.items else next(iter(measures), "")
    work: list[FormShown] = []
    decide: list[FormShown] = []
    if state in (CaseState.OPEN, CaseState.REOPENED):
        work += [DECIDE_EXAMS] if case.undecided else []
        work += [LIST_EXAMS] if case.items and not case.exams else []
        work += [] if case.undecided else [CONTAIN]
    if state in (CaseState.CONTAINED, CaseState.REOPENED):
        work.append(CAUSE)
    if state in (CaseState.CAUSE_FOUND, CaseState.ACTION_PLANNED):
        work += [DONE] if state is CaseState.ACTION_PLANNED else []
        work.append(plan_form(measures, first))
    if state is CaseState.CHECK_DUE:
        decide += [CLOSE] if verdict == "effective" else []
        work.append(CHECK)
    if state in (CaseState.ACTION_DONE, CaseState.CHECK_DUE, CaseState.CLOSED):
        decide += [PUT_OFF] if verdict == "too few exams" else []
        decide.append(REOPEN)
    if not case.is_closed:
        work += [ASSIGN, COMMENT]
    return (*(decide if may_decide else []), *(work if may_work else []))


def case_view(
    case: Case,
    effect: EffectResult | None,
    *,
    network: Network,
    on: date,
    forms: tuple[FormShown, ...] = (),
    names: Mapping[str, str] = MappingProxyType({}),
) -> CaseView:
    """A case as shown.

    Args:
        effect: what its check would say today; None before the action is done.
        names: account's id → name.
    """
    state = case.state_on(on)
    (*due,) = due_items([case], on=on)
    answer = f"{case.case_id}, {words.lower_first(case.title)}: {state}."
    after = [f"Next: {one.what} ({one.owner}, by {one.due_on})." for one in due]
    late = ["It is overdue."] if any(one.is_overdue for one in due) else []
    shown = {**plain_case(case), "Site": site_name(network, case.site_id), "State": str(state)}
    hidden = ("Title", "Exams", "Comments")
    facts = tuple((name, text) for name, text in shown.items() if text and name not in hidden)
    return CaseView(
        case_id=case.case_id,
        answer=answer,
        subline=" ".join([*after, *late]),
        facts=facts,
        exams=tuple(
            (one.exam_key, one.shown, f"{one.decision} {one.words}".strip()) for one in case.exams
        ),
        months=tuple(_month_row(one) for one in effect.months) if effect else (),
        check_text=effect.sentence if effect else "",
        comments=tuple(
            (f"{names.get(one.by, one.by)}, {one.at[:16].replace('T', ' ')} UTC", one.words)
            for one in case.comments
        ),
        history=tuple(
            (at[:16].replace("T", " "), names.get(by, by), kind) for at, by, kind in case.history
        ),
        forms=forms,
        seen=case.n_events,
    )


def _month_row(one) -> tuple[str, str, str]:
    if one.value is None:
        return month_name(one.month), "–", str(one.verdict)
    figures = (
        f"{one.n_events} of {one.n} ({words.percent(one.value)}, "
        f"{words.percent(one.lower)} to {words.percent(one.upper)})"
    )
    return month_name(one.month), figures, str(one.verdict)
