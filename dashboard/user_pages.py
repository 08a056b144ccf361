"""Users: who may log in, and what each may."""

from http import HTTPStatus

from flask import Flask, Response, request

from dashboard.access import Access
from dashboard.addresses import Account
from dashboard.plain import plain_page
from dashboard.who import csrf_of_request, current_actor, current_viewer
from qa.jobs.users.accounts import Accounts, Grant, give_roles, user_named
from qa.model.errors import UserError
from qa.model.permissions import Role


def add_user_pages(server: Flask, access: Access, *, prefix: str) -> None:
    """Add the list of users with the form to invite, and a page for each user."""
    pages = _Pages(access, prefix)
    root, both = prefix.rstrip("/") + Account.USERS.value, ["GET", "POST"]
    server.add_url_rule(root, "users", pages.users, methods=both)
    server.add_url_rule(f"{root}/<user_id>", "user", pages.user, methods=both)


class _Pages:
    def __init__(self, access: Access, prefix: str) -> None:
        self._access = access
        self._prefix = prefix

    def _desk(self) -> Accounts:
        return Accounts(self._access.door.store, current_actor(), self._access.now())

    def users(self) -> Response:
        """The list; POST invites somebody and shows the link, once."""
        message, link, status = "", "", HTTPStatus.OK
        if request.method == "POST":
            try:
                account, token = self._desk().invite(
                    email=request.form.get("email", ""),
                    name=request.form.get("name", ""),
                    grant=_grant_of_form(),
                    network=self._access.network(),
                )
                message, link = f"{account.name} is invited.", self._link(token)
            except UserError as problem:
                message, status = problem.message, HTTPStatus.UNPROCESSABLE_ENTITY
        is_refused = status is not HTTPStatus.OK
        return self._page(
            "users.html",
            status=status,
            accounts=self._desk().list(),
            message=message,
            link=link,
            typed=request.form if is_refused else {},
            chosen=_chosen_of_form() if is_refused else ((), (), ""),
        )

    def user(self, user_id: str) -> Response:
        """One account; POST changes roles, resets, disables or logs out everywhere."""
        message, link, status = "", "", HTTPStatus.OK
        try:
            if request.method == "POST":
                message, link = self._changed(user_id)
            account = user_named(self._access.door.store, user_id)
        except UserError as problem:
            message, status = problem.message, HTTPStatus.UNPROCESSABLE_ENTITY
            found = [one for one in self._desk().list() if one.user_id == user_id]
            if not found:
                return plain_page(
                    "message.html",
                    status=HTTPStatus.NOT_FOUND,
                    answer="There is no such account.",
                    message="",
                    viewer=current_viewer(),
                )
            account = found[0]
        chosen = (account.roles, account.sites, account.operator_id)
        return self._page(
            "user.html", status=status, account=account, message=message, link=link, chosen=chosen
        )

    def _changed(self, user_id: str) -> tuple[str, str]:
        """What was done, and the link to hand over, if any."""
        desk, what, seen_no = self._desk(), request.form.get("what", ""), _seen_no()
        if what == "reset":
            account, token = desk.reset(user_id, seen_no=seen_no)
            return f"{account.name} sets a new password with this link.", self._link(token)
        if what == "disable":
            return f"{desk.disable(user_id, seen_no=seen_no).name} is out.", ""
        if what == "everywhere":
            return f"{desk.log_out_everywhere(user_id).name} is logged out everywhere.", ""
        account = desk.change(
            user_id, grant=_grant_of_form(), network=self._access.network(), seen_no=seen_no
        )
        return f"What {account.name} may is changed.", ""

    def _link(self, token: str) -> str:
        root = (self._access.public_url or request.host_url).rstrip("/")
        return f"{root}{self._prefix.rstrip('/')}{Account.LINK.value}/{token}"

    def _page(self, template: str, *, status: HTTPStatus, **values: object) -> Response:
        network = self._access.network()
        return plain_page(
            template,
            status=status,
            is_problem=status is not HTTPStatus.OK,
            csrf=csrf_of_request(),
            viewer=current_viewer(),
            roles=list(Role),
            sites=network.sites,
            operators=sorted(network.operators, key=lambda one: one.id),
            **values,
        )


def _chosen_of_form() -> tuple[tuple[str, ...], tuple[str, ...], str]:
    form = request.form
    return tuple(form.getlist("role")), tuple(form.getlist("site")), form.get("operator", "")


def _grant_of_form() -> Grant:
    return give_roles(*_chosen_of_form())


def _seen_no() -> int | None:
    text = request.form.get("seen", "")
    return int(text) if text.isascii() and text.isdigit() else -1
