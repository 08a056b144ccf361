"""Decisions that the Month screen's forms send. A refused one comes back as a plain page."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from flask import Flask, Response, request

from dashboard.addresses import Form, Page, address
from dashboard.case_actions import open_case
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.plain import see_other
from dashboard.selection import Context, read_selection
from dashboard.source import PublishedSource
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.month_reviews import close_month, look_again, reopen_month, undo_decision
from qa.model.errors import FollowupError
from qa.model.published import Published
from qa.views.case_page import DISMISS, REOPEN, FormShown, open_form
from qa.views.month_review import CLOSE_MONTH, LOOK_AGAIN, UNDO


@dataclass(frozen=True)
class Sent:
    """One decision as it was sent. item: "" where it is about the whole month."""

    desk: CaseDesk
    published: Published
    month: date
    item: str

    def word(self, name: str) -> str:
        return request.form.get(name, "")

    def open(self) -> None:
        open_case(self.desk, request.form, self.published)

    def look(self) -> None:
        look_again(
            self.desk,
            self.item,
            month=self.month,
            words=self.word("words"),
            published=self.published,
        )

    def dismiss(self) -> None:
        self.desk.dismiss([self.item], why=self.word("why"), published=self.published)

    def undo(self) -> None:
        undo_decision(self.desk, self.item, month=self.month, why=self.word("why"))

    def close(self) -> None:
        words, published = self.word("words"), self.published
        close_month(self.desk, month=self.month, words=words, published=published)

    def reopen(self) -> None:
        reopen_month(self.desk, month=self.month, why=self.word("why"))


DECISIONS: dict[str, tuple[Callable[[Sent], None], FormShown]] = {
    "open": (Sent.open, open_form([], has_items=True)),
    "look": (Sent.look, LOOK_AGAIN),
    "dismiss": (Sent.dismiss, DISMISS),
    "undo": (Sent.undo, UNDO),
    "close": (Sent.close, CLOSE_MONTH),
    "reopen": (Sent.reopen, REOPEN),
}
"""What the screen's forms may ask for, with the form that comes back where it is refused."""


def add_month_pages(
    server: Flask, source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    server.add_url_rule(
        prefix.rstrip("/") + Form.DECIDE.value,
        "decide",
        lambda: answer_form(_decide, source, make_desk, prefix=prefix),
        methods=["POST"],
    )


def _decide(desk: CaseDesk, published: Published, prefix: str) -> Response:
    what, at = request.form.get("what", ""), request.form.get("at", "")[:4]
    selection = read_selection(published, request.form)
    if what not in DECISIONS or selection is None:
        raise FollowupError("no such decision", where="the month's list", code="FUP-038")
    decide, form = DECISIONS[what]
    sent = Sent(desk, published, selection.month, request.form.get("item", "")[:200])
    try:
        decide(sent)
    except FollowupError as problem:
        return _refused(problem, form, published, prefix)
    anchor = f"item-{at}" if at.isdecimal() else "review"
    back = Context(published, selection, prefix).here(Page.MONTH, anchor=anchor)
    return see_other(back)


def _refused(
    problem: FollowupError, form: FormShown, published: Published, prefix: str
) -> Response:
    """The form as it was filled in, with the reason above it."""
    carried = ("item", "at", "month", "measure", "period")
    return form_page(
        published.network.name,
        prefix,
        message=problem.message,
        forms=(form,),
        sent_what=form.what,
        hidden=tuple((key, request.form[key][:200]) for key in carried if key in request.form),
        action=address(Form.DECIDE, prefix=prefix),
        answer="This was not decided.",
        here=Page.MONTH,
    )
