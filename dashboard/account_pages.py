"""Logging in and out, setting a password by a link, and the own account."""

from http import HTTPStatus

from flask import Flask, Response, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from dashboard.access import (
    SESSION,
    Access,
    client_of_request,
    enter,
    leave,
    safe_next,
)
from dashboard.addresses import Account
from dashboard.plain import plain_page
from dashboard.who import csrf_of_request, current_viewer
from qa.jobs.users.accounts import Accounts, link_owner, set_password
from qa.model.errors import AccessRefused, UserError


def add_account_pages(server: Flask, access: Access, *, prefix: str) -> None:
    """Add the addresses of dashboard.addresses.Account, but for the users'."""
    pages = _Pages(access, prefix)
    root = prefix.rstrip("/")
    both = ["GET", "POST"]
    server.add_url_rule(root + Account.LOG_IN, "log-in", pages.log_in, methods=both)
    server.add_url_rule(root + Account.HOSPITAL, "hospital", pages.hospital, methods=["POST"])
    server.add_url_rule(root + Account.HOSPITAL_BACK, "hospital-back", pages.back)
    server.add_url_rule(root + Account.LOG_OUT, "log-out", pages.log_out, methods=["POST"])
    server.add_url_rule(f"{root}{Account.LINK.value}/<token>", "link", pages.link, methods=both)
    server.add_url_rule(root + Account.OWN, "account", pages.own, methods=both)


class _Pages:
    def __init__(self, access: Access, prefix: str) -> None:
        self._access = access
        self._prefix = prefix

    def log_in(self) -> AnyResponse:
        onward = safe_next(request.values.get("next", ""), prefix=self._prefix)
        if request.method == "GET":
            return redirect(onward) if current_viewer() else self._form(onward)
        try:
            viewer = self._access.door.log_in(
                request.form.get("email", ""),
                request.form.get("password", ""),
                client=client_of_request(),
                at=self._access.now(),
                old_token=request.cookies.get(SESSION, ""),
            )
        except AccessRefused as problem:
            late = problem.code == "ACC-004"
            status = HTTPStatus.TOO_MANY_REQUESTS if late else HTTPStatus.FORBIDDEN
            return self._form(onward, problem=problem, status=status)
        return self._in(viewer, onward)

    def _in(self, viewer: object, onward: str) -> AnyResponse:
        answer = Response("", HTTPStatus.SEE_OTHER, {"Location": onward})
        return enter(answer, viewer, self._access, prefix=self._prefix)  # type: ignore[arg-type]

    def _form(
        self,
        onward: str,
        *,
        problem: UserError | None = None,
        status: HTTPStatus = HTTPStatus.OK,
        said: str = "",
    ) -> Response:
        return plain_page(
            "log_in.html",
            status=status,
            csrf=csrf_of_request(),
            onward=onward,
            message=problem.message if problem else said,
            has_hospital=self._access.hospital is not None,
        )

    def hospital(self) -> AnyResponse:
        """Off to the hospital's provider."""
        onward = safe_next(request.form.get("next", ""), prefix=self._prefix)
        if self._access.hospital is None:
            return self._form(onward, status=HTTPStatus.NOT_FOUND)
        try:
            to = self._access.hospital.begin(
                visit=self._visit(), onward=onward, back=self._back_url(), at=self._access.now()
            )
        except UserError as problem:
            return self._form(onward, problem=problem, status=HTTPStatus.BAD_GATEWAY)
        return redirect(to, HTTPStatus.SEE_OTHER)

    def back(self) -> AnyResponse:
        """Back from the provider, with what it says."""
        if self._access.hospital is None:
            return self._form(self._prefix, status=HTTPStatus.NOT_FOUND)
        try:
            viewer, onward = self._access.hospital.finish(
                self._access.door,
                request.args.to_dict(),
                visit=self._visit(),
                back=self._back_url(),
                client=client_of_request(),
                at=self._access.now(),
                old_token=request.cookies.get(SESSION, ""),
            )
        except UserError as problem:
            return self._form(self._prefix, problem=problem, status=HTTPStatus.FORBIDDEN)
        return self._in(viewer, safe_next(onward, prefix=self._prefix))

    def _visit(self) -> str:
        viewer = current_viewer()
        return viewer.token if viewer else csrf_of_request()

    def _back_url(self) -> str:
        root = (self._access.public_url or request.host_url).rstrip("/")
        return root + self._prefix.rstrip("/") + Account.HOSPITAL_BACK.value

    def log_out(self) -> AnyResponse:
        viewer = current_viewer()
        assert viewer is not None
        self._access.door.log_out(viewer, at=self._access.now())
        return self._gone("You are logged out.")

    def _gone(self, said: str) -> Response:
        answer = plain_page("message.html", answer=said, message="", next_step="Log in")
        return leave(answer, prefix=self._prefix)

    def link(self, token: str) -> AnyResponse:
        """Looking at the page does not use the link up: mail programs look at links."""
        door, now = self._access.door, self._access.now()
        try:
            owner = link_owner(door.store, token, at=now)
        except UserError as problem:
            return plain_page(
                "message.html",
                status=HTTPStatus.NOT_FOUND,
                answer="This link does not work any more.",
                message=problem.message,
            )
        problem_text, status = "", HTTPStatus.OK
        if request.method == "POST":
            try:
                password = _twice("password")
                set_password(door.store, token, password, passwords=door.passwords, at=now)
                return self._gone("Your password is set. Log in with it.")
            except UserError as problem:
                problem_text, status = problem.message, HTTPStatus.UNPROCESSABLE_ENTITY
        return plain_page(
            "link.html", status=status, csrf=csrf_of_request(), owner=owner, message=problem_text
        )

    def own(self) -> AnyResponse:
        """The own account: what it may, another password, log out everywhere."""
        viewer = current_viewer()
        assert viewer is not None
        if request.method == "GET":
            return self._own_page("")
        now = self._access.now()
        if request.form.get("what") == "everywhere":
            desk = Accounts(self._access.door.store, viewer.actor, now)
            desk.log_out_everywhere(viewer.account.user_id)
            return self._gone("You are logged out everywhere.")
        try:
            changed = self._access.door.change_password(
                viewer,
                request.form.get("old", ""),
                _twice("password"),
                client=client_of_request(),
                at=now,
            )
        except UserError as problem:
            return self._own_page(problem.message, status=HTTPStatus.UNPROCESSABLE_ENTITY)
        answer = plain_page("message.html", answer="Your password is changed.", message="")
        return enter(answer, changed, self._access, prefix=self._prefix)

    def _own_page(self, message: str, *, status: HTTPStatus = HTTPStatus.OK) -> Response:
        viewer = current_viewer()
        assert viewer is not None
        settings = self._access.door.settings
        return plain_page(
            "account.html",
            status=status,
            csrf=csrf_of_request(),
            viewer=viewer,
            message=message,
            idle=settings.idle_minutes,
            hours=settings.absolute_hours,
        )


def _twice(name: str) -> str:
    """A password typed twice. Raises: AccessRefused ACC-005 when they differ."""
    password = request.form.get(name, "")
    if password != request.form.get(f"{name}_again", ""):
        raise AccessRefused("the two passwords differ", todo="Type both again", code="ACC-005")
    return password
