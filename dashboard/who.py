"""Who asks: set by the guard (dashboard/access.py) before anything is answered."""

from flask import g, has_app_context, request

from qa.jobs.followup.cases import CaseDesk
from qa.jobs.users.log_in import Viewer
from qa.jobs.users.tokens import form_token
from qa.jobs.users.uses import VIEWED, note_use
from qa.model.permissions import Actor, Permission, Reach
from qa.model.published import Published


def current_viewer() -> Viewer | None:
    """Who asks; None where nobody is logged in, or no accounts are in use."""
    found: Viewer | None = g.get("viewer") if has_app_context() else None
    return found


def current_actor() -> Actor | None:
    viewer = current_viewer()
    return viewer.actor if viewer else None


def csrf_of_request() -> str:
    """What this page's forms carry; "" where no accounts are in use."""
    if not has_app_context():
        return ""
    viewer = current_viewer()
    token = viewer.token if viewer else g.get("visit", "")
    return form_token(token) if token else ""


def note_view(desk: CaseDesk, what: str, published: Published) -> None:
    """A plain page with operators by name was opened; nothing without accounts."""
    actor = current_actor()
    if actor is not None and request.method == "GET":
        note_use(desk.store, actor, VIEWED, what, at=desk.at, snapshot_id=published.snapshot_id)


def sees_whole_network(actor: Actor | None, permission: Permission) -> bool:
    """Whether a permission reaches the whole network; always where no accounts are in use."""
    return actor is None or Reach.NETWORK in actor.reaches(permission)
