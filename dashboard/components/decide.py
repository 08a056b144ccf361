"""Deciding in place: forms beside each item, and the review of the whole month.

Forms are sent by the browser itself, so they work by keyboard and without a script. Keys are an
addition (assets/decide.js); they act only while the focus is within the list.
"""

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Form, address
from dashboard.components.basics import section, wild
from dashboard.selection import Context
from dashboard.who import csrf_of_request
from qa.model.permissions import Permission, may
from qa.views import words
from qa.views.followup import Decided
from qa.views.month_review import UNDO_WHY, MonthReviewView, case_title, due_choices
from qa.views.worklist import WorkItem

KEYS = (
    ("j", "next item"),
    ("k", "item before"),
    ("o", "open a case"),
    ("l", "look again next month"),
    ("n", "not pursue"),
    ("u", "undo"),
    ("Esc", "put the form away"),
)
"""Keys of the list, as assets/decide.js takes them."""


def may_decide(context: Context) -> bool:
    return context.desk is not None and may(context.desk.actor, Permission.DECIDE_CASES)


def keys_told() -> Component:
    return html.Details(
        [
            html.Summary("Keys for this list"),
            html.P(
                [
                    "They act while the focus is on an item. "
                    "Everything can be reached by Tab and Enter too.",
                ],
                className="note",
            ),
            html.Dl(
                [html.Div([html.Dt(html.Kbd(key)), html.Dd(what)]) for key, what in KEYS],
                className="facts keys",
            ),
        ],
        className="keys-told",
    )


def decided_line(item: WorkItem, known: Decided, number: int, context: Context) -> Component:
    """What was decided about an item, and the way to take it back."""
    said: Any = words.as_sentence(known.words)
    if known.case_id:
        href = address(Form.CASE, prefix=context.prefix, case=known.case_id)
        said = html.A(said, href=href)
    undo = None
    if known.is_undoable and may_decide(context):
        undo = _opened(
            "undo",
            "Undo",
            _form(
                context,
                "undo",
                "Take it back",
                (_select("why", "Why", [(one, one) for one in UNDO_WHY], f"undo-{number}"),),
                item=item.item_id,
                at=number,
            ),
        )
    return html.Div([html.P(said, className="decided"), undo], className="decision")


def decide_forms(item: WorkItem, number: int, context: Context) -> Component:
    """Three ways to decide on one item, each behind its own button."""
    days = due_choices(context.desk.today) if context.desk else ()
    case = (
        _line("title", "A few words that name it", case_title(item), number),
        _line("owner", "Who answers for it", context.person, number),
        _select("due_on", "First step by", days, f"due-{number}"),
    )
    look = (_area("words", "What was found so far", f"look-{number}"),)
    dismiss = (_area("why", "Why it is not pursued", f"dismiss-{number}"),)
    ways = (
        ("open", "Open a case", "Open the case", case),
        ("look", "Look again next month", "Leave it on the list", look),
        ("dismiss", "Not pursue…", "Do not pursue it", dismiss),
    )
    sent: dict[str, Any] = {"item": item.item_id, "at": number}
    return html.Div(
        [
            _opened(what, name, _form(context, what, button, fields, **sent))
            for what, name, button, fields in ways
        ],
        className="decision",
    )


def review_section(review: MonthReviewView, context: Context) -> Component:
    """How far the month has come; closing it, or that it is closed."""
    parts: list[Any] = [
        html.Progress(
            value=str(review.n_decided),
            max=str(review.n_items),
            **wild(aria_label="Items decided"),
        )
        if review.n_items
        else None,
        html.P(review.progress),
    ]
    if review.closed:
        parts += [html.P(review.closed), _left(review.closed_left)]
    if may_decide(context):
        parts.append(_reopen(context) if review.closed else _close(review, context))
    return section("The month's review", *parts, id=ids.Month.REVIEW)


def _left(findings: tuple[str, ...]) -> Component | None:
    return html.Ul([html.Li(one) for one in findings], className="plain") if findings else None


def _close(review: MonthReviewView, context: Context) -> Component:
    n_left = len(review.left)
    told: list[Any] = []
    if n_left:
        told = [
            html.P(f"Still undecided, and named in the record if you close now ({n_left}):"),
            _left(review.left),
        ]
    label = "Why they stay undecided" if n_left else "Closing words, if any"
    area = _area("words", label, "close-words", is_needed=bool(n_left))
    form = _form(context, "close", "Close the month", (area,))
    return _opened("close", "Close the month…", html.Div([*told, form]))


def _reopen(context: Context) -> Component:
    area = _area("why", "Why it is opened again", "reopen-why")
    return _opened("reopen", "Reopen…", _form(context, "reopen", "Reopen the month", (area,)))


def _opened(what: str, button: str, content: Component) -> Component:
    return html.Details([html.Summary(button), content], className="act", **wild(data_decide=what))


def _form(
    context: Context, what: str, button: str, fields: tuple[Component, ...], **sent: str | int
) -> Component:
    chosen = context.selection.query()
    kept = {key: chosen[key] for key in ("month", "measure", "period")}
    hidden = {"csrf_token": csrf_of_request(), **kept, **sent}
    return html.Form(
        [
            *(
                dcc.Input(type="hidden", name=key, value=str(value))
                for key, value in hidden.items()
                if value not in (None, "")
            ),
            *fields,
            html.P(html.Button(button, name="what", value=what, type="submit")),
        ],
        method="post",
        action=address(Form.DECIDE, prefix=context.prefix),
        className="decide",
    )


def _labelled(label: str, control: Component, id: str) -> Component:
    return html.P([html.Label(label, htmlFor=id), control])


def _line(name: str, label: str, value: str, number: int) -> Component:
    id = f"{name}-{number}"
    control = dcc.Input(type="text", name=name, id=id, value=value, required=True, maxLength=200)
    return _labelled(label, control, id)


def _area(name: str, label: str, id: str, *, is_needed: bool = True) -> Component:
    area = html.Textarea(name=name, id=id, required=is_needed, rows=2, maxLength=400)
    return _labelled(label, area, id)


def _select(name: str, label: str, options: Any, id: str) -> Component:
    choices = [html.Option(text, value=value) for text, value in options]
    return _labelled(label, html.Select(choices, name=name, id=id, required=True), id)
