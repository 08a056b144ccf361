"""Answers to what goes wrong below the screens: words for people, and a log without values."""

import logging
from http import HTTPStatus

from dash.exceptions import DashException, DependencyException
from flask import Flask, Response, make_response, request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from dashboard.plain import plain_page
from dashboard.who import current_viewer

LOG = logging.getLogger("elastoqa.dashboard")
_WORDS = {
    HTTPStatus.NOT_FOUND: "There is no such page.",
    HTTPStatus.METHOD_NOT_ALLOWED: "This address does not take that.",
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: "What was sent is too large.",
}
_OURS = "This could not be done. The fault is ours and is in the log."
_DAMAGED = "The request came in damaged."


def add_faults(server: Flask) -> None:
    """Answer every error in words; nothing of a traceback or of what was sent comes back."""

    @server.errorhandler(HTTPException)
    def refused(problem: HTTPException) -> AnyResponse:
        if problem.response is not None:
            return make_response(problem.response)
        status = HTTPStatus(problem.code or 400)
        answer = say(status, _WORDS.get(status, _DAMAGED))
        allowed = getattr(problem, "valid_methods", None)
        if allowed:
            answer.headers["Allow"] = ", ".join(sorted(allowed))
        return answer

    @server.errorhandler(DependencyException)
    def no_such_file(_: DependencyException) -> AnyResponse:
        return say(HTTPStatus.NOT_FOUND, _WORDS[HTTPStatus.NOT_FOUND])

    @server.errorhandler(DashException)
    def no_such_callback(fault: DashException) -> AnyResponse:
        LOG.warning("a request of a screen did not fit", exc_info=fault)
        return say(HTTPStatus.BAD_REQUEST, _DAMAGED)

    @server.errorhandler(Exception)
    def bug(fault: Exception) -> AnyResponse:
        LOG.error("an answer failed", exc_info=fault)
        return say(HTTPStatus.INTERNAL_SERVER_ERROR, _OURS)


def say(status: HTTPStatus, sentence: str) -> Response:
    """One sentence: as a page to a person, as text to a program."""
    if "text/html" in request.headers.get("Accept", ""):
        return plain_page(
            "message.html", status=status, answer=sentence, message="", viewer=current_viewer()
        )
    return Response(sentence + "\n", status, mimetype="text/plain")
