"""Headers of every answer: what the browser may load, run and keep."""

from collections.abc import Sequence
from http import HTTPStatus

from dash import Dash
from flask import Flask, Response, request

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), usb=()",
}
YEAR = 31_536_000


def add_headers(app: Dash, server: Flask) -> None:
    """Add the headers above and a content-security policy to every answer.

    Scripts: own files, and Dash's own inline ones by their hash; no eval. Styles: Plotly and Dash
    set style attributes, so 'unsafe-inline' stays for styles only.
    """
    cached: list[str] = []

    @server.after_request
    def add(response: Response) -> Response:
        if not cached:
            # Dash makes its inline scripts on the first request, so hashes are taken then.
            cached.append(_policy(app.csp_hashes()))
        response.headers["Content-Security-Policy"] = cached[0]
        response.headers.extend(
            {key: value for key, value in HEADERS.items() if key not in response.headers}
        )
        if request.is_secure:
            response.headers["Strict-Transport-Security"] = f"max-age={YEAR}"
        if _is_asset() and response.status_code == HTTPStatus.OK:
            is_named = bool(request.args) or "/fonts/" in request.path
            lasting = f"max-age={YEAR}, immutable" if is_named else "max-age=3600"
            response.headers["Cache-Control"] = f"public, {lasting}"
        return response


def _is_asset() -> bool:
    return (request.endpoint or "").endswith("_dash_assets.static")


def is_file_of_ours() -> bool:
    """A script, style or font, the same for everybody; by what answers, not by the address."""
    return _is_asset() or "/_dash-component-suites/" in (request.endpoint or "")


def _policy(script_hashes: Sequence[str]) -> str:
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src 'self' {' '.join(script_hashes)}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )
