"""Serve the screens: one process, or several workers that share nothing but the folder's stores."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import waitress
from dash import Dash
from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from dashboard.logs import write_json_lines
from dashboard.try_file import MAX_REQUEST_BYTES
from qa.model.errors import WrongUse

HOST = "127.0.0.1"
THREADS = 8
WORKER_THREADS = 4
MOST_WORKERS = 32
MakeApp = Callable[[], Dash]
"""Makes the app anew in each process, with connections of its own."""


def serve(make: MakeApp, *, port: int, workers: int = 1, behind_proxy: bool = False) -> None:
    """Answer at 127.0.0.1 until stopped; the log goes to stderr as JSON lines.

    Args:
        workers: processes; more than one need gunicorn. Sessions, throttling and links lie in the
            follow-up store, so that each worker knows them and no secret has to be shared.
        behind_proxy: believe X-Forwarded-For, -Proto and -Host of the one proxy in front.
    Raises: WrongUse USE-071 (number of workers), USE-072 (gunicorn is missing).
    """
    if not 1 <= workers <= MOST_WORKERS:
        raise WrongUse(f"{workers} workers", expected=f"1 to {MOST_WORKERS}", code="USE-071")
    write_json_lines()
    if workers == 1:
        _serve_alone(make, port=port, behind_proxy=behind_proxy)
    else:
        _serve_with_workers(make, port=port, workers=workers, behind_proxy=behind_proxy)


def application(app: Dash, *, behind_proxy: bool) -> Flask:
    """The app as servers call it. Nothing that a request says of a proxy counts without one."""
    if behind_proxy:
        app.server.wsgi_app = ProxyFix(app.server.wsgi_app, x_for=1, x_proto=1, x_host=1)
    return app.server


def _serve_alone(make: MakeApp, *, port: int, behind_proxy: bool) -> None:
    waitress.serve(
        application(make(), behind_proxy=behind_proxy),
        host=HOST,
        port=port,
        threads=THREADS,
        ident=None,
        clear_untrusted_proxy_headers=not behind_proxy,
        # A file that is tried stays in memory; one twice too large is not even taken in.
        inbuf_overflow=2 * MAX_REQUEST_BYTES,
        max_request_body_size=2 * MAX_REQUEST_BYTES,
    )


def _serve_with_workers(make: MakeApp, *, port: int, workers: int, behind_proxy: bool) -> None:
    try:
        from gunicorn.app.base import BaseApplication
    except ImportError:
        raise WrongUse(
            "several workers need gunicorn, which is not installed",
            todo="pip install '.[server]', or leave --workers away",
            code="USE-072",
        ) from None

    class Server(BaseApplication):
        def load_config(self) -> None:
            for name, value in _settings(port, workers).items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            """Called in each worker, so that no connection crosses a fork."""
            write_json_lines()
            return application(make(), behind_proxy=behind_proxy)

    Server().run()


def _settings(port: int, workers: int) -> dict[str, Any]:
    return {
        "bind": f"{HOST}:{port}",
        "workers": workers,
        "worker_class": "gthread",
        "threads": WORKER_THREADS,
        # Connections that stay open would gather at one worker.
        "reuse_port": True,
        "forwarded_allow_ips": "",
        "control_socket_disable": True,
        "worker_tmp_dir": "/dev/shm" if Path("/dev/shm").is_dir() else None,
        "logconfig_dict": {
            "version": 1,
            "disable_existing_loggers": False,
            "loggers": {"gunicorn.error": {"level": "INFO", "handlers": [], "propagate": True}},
        },
    }
