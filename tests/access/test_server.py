"""The server as a clinic runs it: two workers behind a proxy with TLS, below a path."""

import http.client
import json
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlencode

import pytest

from qa.jobs.folder import find_server
from qa.jobs.followup.opening import command_actor
from qa.jobs.users.accounts import Accounts, Grant, set_password
from qa.jobs.users.opening import open_door
from qa.model.errors import NetworkFolderError, WrongUse
from qa.model.permissions import Role
from tests.access.people import PASSWORD
from tests.followup.notes import NETWORK_TEXT

ROOT = Path(__file__).parent.parent.parent
HOST = "qa.example.org"
SETTINGS = f'\n[log_in]\npublic_url = "https://{HOST}"\n[server]\npath_prefix = "/qa/"\n'
EMAIL = "ada@clinic.invalid"


@dataclass
class Visitor:
    """A browser beyond the proxy: keeps cookies; each request is a connection of its own."""

    port: int
    number: int
    cookies: dict[str, str] = field(default_factory=dict)

    def send(self, method: str, path: str, form: dict[str, str] | None = None, **headers: str):
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        told = {"X-Forwarded-Proto": "https", "X-Forwarded-Host": HOST}
        told |= {"X-Forwarded-For": f"10.9.9.{self.number}", "Accept": "text/html"}
        told |= {"Cookie": "; ".join(f"{key}={one}" for key, one in self.cookies.items())}
        if form is not None:
            form = {"csrf_token": self.cookies.get("_csrf_token", ""), **form}
            told |= {"Content-Type": "application/x-www-form-urlencoded"}
            told |= {"Origin": f"https://{HOST}"}
        link.request(method, path, urlencode(form) if form else None, {**told, **headers})
        answer = link.getresponse()
        answer.text = answer.read().decode()  # type: ignore[attr-defined]
        for cookie in answer.headers.get_all("Set-Cookie") or []:
            name, value = cookie.split(";")[0].split("=", 1)
            self.cookies[name] = value
        link.close()
        return answer

    def log_in(self, password: str = PASSWORD):
        self.send("GET", "/qa/log-in")
        return self.send("POST", "/qa/log-in", {"email": EMAIL, "password": password})


@dataclass
class Running:
    port: int
    log: Path
    number: int = 0

    def visitor(self) -> Visitor:
        self.number += 1
        return Visitor(self.port, self.number)

    def lines(self) -> list[dict]:
        text = self.log.read_text(encoding="utf-8")
        return [json.loads(line) for line in text.splitlines()]


def make_folder(folder: Path, settings: str) -> Path:
    (folder / "network.toml").write_text(NETWORK_TEXT + settings, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder = make_folder(tmp_path_factory.mktemp("served"), SETTINGS + "behind_proxy = true\n")
    door = open_door(folder, environ={})
    desk = Accounts(door.store, command_actor("tester"), datetime.now(UTC))
    grant = Grant((Role.ADMINISTRATOR,))
    from qa.stores.settings import load_network

    _, token = desk.invite(email=EMAIL, name="Ada", grant=grant, network=load_network(folder))
    at = datetime.now(UTC)
    set_password(door.store, token, PASSWORD, passwords=door.passwords, at=at)
    door.store.close()
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = int(found.getsockname()[1])
    command = [sys.executable, "-m", "qa", "serve", "--network", str(folder), "--port", str(port)]
    log = folder / "log"
    with log.open("wb") as target:
        process = subprocess.Popen(
            [*command, "--workers", "2"],
            cwd=ROOT,
            stderr=target,
            stdout=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        made = Running(port, log)
        try:
            _wait(process, made)
            yield made
        finally:
            process.terminate()
            process.wait(timeout=30)


def _wait(process: subprocess.Popen[bytes], made: Running) -> None:
    """Until both workers answer."""
    for _ in range(300):
        assert process.poll() is None, made.log.read_text(encoding="utf-8")[-2000:]
        text = made.log.read_text(encoding="utf-8")
        if text.count('"said": "request"') >= 2:  # Each worker's own first request.
            return
        time.sleep(0.2)
    raise RuntimeError("the workers did not answer in time")


def test_session_of_one_worker_is_known_to_the_other(running: Running) -> None:
    visitor = running.visitor()
    assert visitor.log_in().status == 303
    for _ in range(20):
        assert visitor.send("GET", "/qa/users").status == 200
    answered = {one["process"] for one in running.lines() if one.get("address") == "/qa/users"}
    assert len(answered) == 2
    assert visitor.send("POST", "/qa/log-out", {"x": ""}).status == 200
    assert {visitor.send("GET", "/qa/users").status for _ in range(8)} == {302}


def test_tries_are_counted_over_both_workers(running: Running) -> None:
    codes = [running.visitor().log_in("wrong wrong wrong").status for _ in range(6)]
    assert codes == [403] * 5 + [429]


def test_cookies_links_and_redirects_are_those_of_the_proxy(running: Running) -> None:
    visitor = running.visitor()
    sent = visitor.send("GET", "/qa/site?site=S1")
    assert sent.headers["Location"] == "/qa/log-in?next=%2Fqa%2Fsite%3Fsite%3DS1"
    cookies = visitor.send("GET", "/qa/log-in").headers.get_all("Set-Cookie") or []
    cookies += sent.headers.get_all("Set-Cookie") or []
    assert cookies
    assert all("Secure" in one and "Path=/qa/" in one for one in cookies)
    assert "max-age" in sent.headers["Strict-Transport-Security"]


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/users",
        "/qaevil/users",
        "/qa",
        "//qa/users",
        "/qa/../users",
        "/QA/users",
        "/qa/qa/users",
    ],
)
def test_what_lies_beside_the_path_is_no_way_in(running: Running, path: str) -> None:
    answer = running.visitor().send("GET", path)
    assert answer.status in (302, 308, 404)
    assert re.match(r"(https://qa\.example\.org)?/qa/", answer.headers.get("Location", "/qa/"))


def test_health_says_that_it_lives_and_nothing_else(running: Running) -> None:
    answer = running.visitor().send("GET", "/qa/health", Host="10.0.0.7")
    assert (answer.status, answer.text) == (200, "OK")


@pytest.mark.parametrize(
    "headers",
    [{"X-Forwarded-Host": "evil.example"}, {"X-Forwarded-Host": "evil.example, qa.example.org.x"}],
)
def test_another_name_told_by_the_proxy_is_refused(running: Running, headers: dict) -> None:
    assert running.visitor().send("GET", "/qa/log-in", **headers).status == 403


@pytest.mark.parametrize(
    "raw",
    [
        b"POST /qa/log-in HTTP/1.1\r\nHost: x\r\nContent-Length: 4\r\n"
        b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        b"GET /qa/users HTTP/1.1\r\nHost: x\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET /qa/users\x00 HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET /qa/users HTTP/1.1\nHost: 127.0.0.1\nContent-Length : 5\n\n",
        b"GET http://evil.example/qa/users HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"GET /qa/" + b"x" * 20_000 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    ],
    ids=["two lengths", "two hosts", "null byte", "space", "whole address", "long line"],
)  # fmt: skip
def test_request_that_two_servers_read_differently_is_refused(running: Running, raw: bytes) -> None:
    """Source: RFC 9112, 3.2 (one Host) and 6.3 (message length)."""
    with socket.create_connection(("127.0.0.1", running.port), timeout=10) as link:
        link.sendall(raw)
        link.shutdown(socket.SHUT_WR)
        said = link.recv(2000)
    status = int(said.split()[1]) if said else 400
    assert status in (302, 400, 403, 404, 414, 431)
    assert status != 302 or b"/qa/log-in" in said


def test_log_is_json_without_tokens_or_what_was_typed(running: Running) -> None:
    running.visitor().send("GET", "/qa/link/secret-token?x=secret")
    lines = running.lines()
    assert lines[-1]["address"] == "/qa/link/<token>"
    text = running.log.read_text(encoding="utf-8")
    for word in ("secret", PASSWORD, EMAIL):
        assert word not in text


@pytest.mark.parametrize(
    ("settings", "code"),
    [
        ('[server]\npath_prefix = "qa"\n', "NET-012"),
        ('[server]\npath_prefix = "/qa"\n', "NET-012"),
        ('[server]\npath_prefix = "//evil.example/"\n', "NET-012"),
        ("[server]\nbehind_proxy = true\n", "NET-013"),
    ],
)
def test_server_settings_that_cannot_work_are_refused(tmp_path, settings: str, code: str) -> None:
    with pytest.raises(NetworkFolderError) as refused:
        find_server(make_folder(tmp_path, "\n" + settings))
    assert refused.value.code == code


def test_number_of_workers_is_bounded() -> None:
    from dashboard.serving import serve

    with pytest.raises(WrongUse):
        serve(lambda: None, port=1, workers=0)  # type: ignore[arg-type,return-value]
