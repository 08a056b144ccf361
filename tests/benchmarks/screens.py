"""Screens: a callback against an empty one, a screen's data against raw exams, first view, waits.

Times are processor seconds of one process, medians of alternated rounds; waits are wall times over
HTTP on loopback and say only what the machine had to spare. Data are simulated, seed stated.
"""

import http.client
import json
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import dash
import numpy as np
from playwright.sync_api import Page

from tests.benchmarks import BenchmarkFigure
from tests.benchmarks._screen_cpu import REPORTED, alternated
from tests.benchmarks._screen_data import data_figures

SCREENS = ("/", "/site?site=S3", "/operators?operator=31", "/grades")
CALL_GOAL, BYTES_GOAL, SECOND_GOAL = 3.0, 5.2, 0.5
PEOPLE = (1, 10, 30)
ASKED_BY_EACH = 4


def run() -> list[BenchmarkFigure]:
    return [*_callbacks(), *data_figures(), *_first_view(), *_waits()]


# A callback against an empty one


def _callbacks() -> list[BenchmarkFigure]:
    empty = _empty_callback()
    figures = []
    for where in SCREENS:
        ask = _screen_callback(where)
        ask(), empty()
        ours, theirs = alternated(ask, empty)
        said = (
            f"{where}: {ours * 1000:.1f} ms of CPU; an empty Dash callback {theirs * 1000:.2f} ms"
        )
        figures.append(
            BenchmarkFigure(f"callback_over_empty {where}", ours / theirs, CALL_GOAL, said)
        )
    return figures


def _empty_callback() -> Callable[[], object]:
    app = dash.Dash("empty")
    app.layout = dash.html.Div([dash.dcc.Input(id="i"), dash.html.Div(id="o")])
    app.callback(dash.Output("o", "children"), dash.Input("i", "value"))(lambda _: "")
    client = app.server.test_client()
    body = {
        "output": "o.children",
        "outputs": {"id": "o", "property": "children"},
        "inputs": [{"id": "i", "property": "value", "value": "x"}],
        "changedPropIds": ["i.value"],
    }

    def ask() -> object:
        answer = client.post("/_dash-update-component", json=body)
        assert answer.status_code == 200
        return answer

    return ask


def _screen_callback(where: str) -> Callable[[], object]:
    from dashboard.app import create_app
    from tests.pages.sample_published import sample_published
    from tests.pages.test_app import navigate

    client = create_app(sample_published).server.test_client()
    path, _, query = where.partition("?")

    def ask() -> object:
        answer = navigate(client, path, f"?{query}" if query else "")
        assert answer.status_code == 200
        return answer

    return ask


# First view, and waits


def _first_view() -> list[BenchmarkFigure]:
    """In Chromium: bytes of a first visit, and of a second one that come from the server."""
    from playwright.sync_api import sync_playwright

    from tests.browser.conftest import FLAGS, chromium_path, run_server

    server = run_server()
    root = next(server)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=FLAGS)
        page = browser.new_context().new_page()
        first, second = (_megabytes(page, root + "/") for _ in range(2))
        browser.close()
    server.close()
    told = "MB of a first visit to Month, not packed"
    again = "MB that a second visit fetches; what is kept for good is not asked for"
    return [
        BenchmarkFigure("first_view_mb", first, BYTES_GOAL, told),
        BenchmarkFigure("second_view_mb", second, SECOND_GOAL, again),
    ]


def _megabytes(page: Page, address: str) -> float:
    """What a visit fetches from the server, as the browser's own tools count it."""
    kept: set[str] = set()
    sizes: dict[str, int] = {}
    link = page.context.new_cdp_session(page)
    link.send("Network.enable")
    link.on("Network.requestServedFromCache", lambda told: kept.add(told["requestId"]))
    link.on(
        "Network.loadingFinished",
        lambda told: sizes.update({told["requestId"]: told["encodedDataLength"]}),
    )
    page.goto(address, wait_until="networkidle")
    page.wait_for_selector(".main-svg")
    link.detach()
    return sum(size for one, size in sizes.items() if one not in kept) / 1e6


def _waits() -> list[BenchmarkFigure]:
    """One process of the server; each person asks again as soon as an answer is there."""
    from tests.browser.conftest import run_server

    server = run_server()
    root = next(server).removeprefix("http://")
    figures = []
    for people in PEOPLE:
        with ThreadPoolExecutor(people) as pool:
            asked = list(pool.map(lambda _: _ask(root), range(people)))
        seconds = [one for found in asked for one in found]
        said = f"ms until a site's screen is there, {people} asking without a pause; one process"
        for part in (50, 95):
            value = float(np.percentile(seconds, part)) * 1000
            name = f"wait_p{part}_ms_{people}_people"
            figures.append(BenchmarkFigure(name, value, REPORTED, said))
    server.close()
    return figures


def _ask(root: str) -> list[float]:

    body = json.dumps(_body("/site", "?site=S3"))
    link = http.client.HTTPConnection(root, timeout=120)
    found = []
    for _ in range(ASKED_BY_EACH):
        start = time.perf_counter()
        link.request("POST", "/_dash-update-component", body, {"Content-Type": "application/json"})
        answer = link.getresponse()
        answer.read()
        assert answer.status == 200
        found.append(time.perf_counter() - start)
    link.close()
    return found


def _body(path: str, search: str) -> dict:
    outputs = [("_pages_content", "children"), ("_pages_store", "data")]
    inputs = [("pathname", path), ("search", search)]
    return {
        "output": ".._pages_content.children..._pages_store.data..",
        "outputs": [{"id": id, "property": name} for id, name in outputs],
        "inputs": [
            {"id": "_pages_location", "property": name, "value": value} for name, value in inputs
        ],
        "changedPropIds": ["_pages_location.pathname"],
    }
