"""A real server on a free port and a real Chromium; skipped in words where there is none."""

import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

ROOT = Path(__file__).parent.parent.parent
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
FLAGS += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
NAMES = ("chromium", "chromium-browser", "google-chrome")
SECONDS_TO_START = 60


def chromium_path() -> str | None:
    return next((found for name in NAMES if (found := shutil.which(name))), None)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    skip = pytest.mark.skip(reason="no Chromium on this machine; install Debian's 'chromium'")
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if chromium_path() is None:
                item.add_marker(skip)


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def wait_until_healthy(process: subprocess.Popen[bytes], address: str) -> None:
    for _ in range(SECONDS_TO_START * 5):
        if process.poll() is not None:
            raise RuntimeError("the server ended before it answered")
        try:
            with urllib.request.urlopen(f"{address}/health", timeout=2) as answer:
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(0.2)
    raise RuntimeError("the server did not answer in time")


def run_server(*arguments: str) -> Iterator[str]:
    """Start tests/browser/serve_sample.py and give its address; stop it by its own id."""
    port = free_port()
    command = [sys.executable, "-m", "tests.browser.serve_sample", str(port), *arguments]
    process = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        wait_until_healthy(process, address)
        yield address
    finally:
        process.terminate()
        process.wait(timeout=20)


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    yield from run_server()


@pytest.fixture(scope="session")
def empty_server() -> Iterator[str]:
    yield from run_server("--empty")


@pytest.fixture(scope="session")
def guarded_server() -> Iterator[str]:
    """With one account for each role."""
    yield from run_server("--accounts")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=chromium_path(), args=FLAGS)
        yield chromium
        chromium.close()


@dataclass
class Reader:
    """One person's browser: opens screens and keeps what went wrong meanwhile."""

    browser: Browser
    server: str
    faults: list[str] = field(default_factory=list)
    pages: list[Page] = field(default_factory=list)

    def open(
        self, path: str, *, width: int = 1280, is_dark: bool = False, is_ready: bool = True
    ) -> Page:
        """Open an address in a fresh context and wait for its answer and its charts."""
        context = self.browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme="dark" if is_dark else "light",
        )
        page = context.new_page()
        self.pages.append(page)
        page.on("console", lambda said: self.note(said.type, said.text))
        page.on("pageerror", lambda error: self.note("error", str(error)))
        page.on("request", lambda request: self.note_request(request.url))
        page.goto(self.server + path)
        if is_ready:
            wait_for_screen(page)
        return page

    def note(self, kind: str, text: str) -> None:
        if kind in ("error", "warning"):
            self.faults.append(f"{kind}: {text}")

    def note_request(self, url: str) -> None:
        if not url.startswith((self.server, "data:", "blob:")):
            self.faults.append(f"fetched from elsewhere: {url}")


def wait_for_screen(page: Page) -> None:
    page.wait_for_selector("#answer")
    page.wait_for_function(
        "() => [...document.querySelectorAll('.dash-graph')]"
        ".every(graph => graph.querySelector('.main-svg'))"
    )


@pytest.fixture
def reader(browser: Browser, server: str) -> Iterator[Reader]:
    """Fails the test where the console, a script or a request has anything to complain of."""
    found = Reader(browser, server)
    yield found
    for page in found.pages:
        page.context.close()
    assert found.faults == []
