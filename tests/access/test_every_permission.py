"""Every route, callback, download and command, for every role and for nobody.

What there is comes from the app itself (its map of addresses, its callbacks, the parser), so that a
new one without a rule fails here. What is right stands below, typed from the promises of each role.
"""

import argparse
from collections.abc import Iterator

import pytest
from dash import _callback
from werkzeug.routing import Rule as Route

from dashboard.access import plain_endpoint
from dashboard.addresses import Download, Page
from dashboard.app import create_app
from dashboard.rules import CALLBACK_RULES, DOWNLOAD_RULES, ENDPOINT_RULES, OPEN, PAGE_RULES
from qa.cli import make_parser
from qa.cli.rules import COMMAND_RULES, require_command
from qa.model.errors import AccessRefused
from qa.model.permissions import READING, Actor, Role, may
from tests.access.people import GRANTS, SHOW_PAGE
from tests.pages.sample_published import sample_published

M, L, O, R, A = Role  # noqa: E741 - one letter a column
SCREENS = {
    Page.MONTH: {M, R},
    Page.SITE: {M, L, R},
    Page.OPERATORS: {M, L, O, R},
    Page.GRADES: {M, L, R},
    Page.DEVICES: {M, L, R},
    Page.ROUNDS: {M, L, R},
    Page.EXPLAIN: {M, L, R},
    Page.PACK: {M, L, R},
    Page.FOLLOWUP: {M, L, R},
    Page.RECORD: {M, L, R},
    Page.INTAKE: {M, L, R, A},
    Page.METHODS: {M, L, O, R, A},
    Page.EXAMS: {M, L, O, R},
    Page.EXAM: {M, L, O, R},
}
FILES = {
    Download.WORKLIST: {M, R},
    Download.SITES: {M, R},
    Download.CHART: {M, L, O, R},
    Download.CHARTS: {M, L, O, R},
    Download.DRAWN: {M, L, O, R},
    Download.OPERATORS: {M, L, O, R},
    Download.GRADES: {M, L, R},
    Download.EXAMS: {M, L, O, R},
    Download.EXAM_LIST: {M, L, O, R},
    Download.INTAKE: {M, L, R, A},
    Download.RETURN_SHEET: {M, L, R, A},
    Download.RECORD: {M, L, R},
    Download.ROUND: {M, L, R},
    Download.ROUNDS: {M, L, R},
    Download.AGREEMENT: {M, L, R},
    Download.STUDIES: {M, L, R},
    Download.CHECKS: {M, L, R},
}
FORMS = {"users": {A}, "user": {A}, "try-file": {M, L, A}, "case": {M, L, R}, "open-case": {M, L}}
FORMS |= {"device-forms": {M, L}, "round-forms": {M, L}}
FORMS |= {"read-again": {M, L, O}, "differs": {M, L}}
FORMS["pack-file"] = {M, L, R}
FORMS["review"] = {M}
FORMS |= {"issued-pack": {M, L, R}, "sign-off": {L}}
FORMS["chart-note"] = {M, L}
FORMS |= {"operator-file": {M, L, O, R}, "samples": {M, L, O, R}}
FORMS |= {"release-question": {M}, "decide": {M}}
FORMS |= {"document": {M, L, O, R}, "sign": {M, L}, "statement": {M, L, R}, "trail": {M, R}}
BEFORE_LOG_IN = {"/health", "/_favicon.ico", "log-in", "hospital", "hospital-back", "link"}
ASSET = "_dash_assets.static"
EXAMPLES = {
    "filename": "choices.js",
    "package_name": "dash",
    "fingerprinted_path": "deps/polyfill@7.min.js",
    "path": "site",
    "token": "x",
    "user_id": "u-1",
}


def actor(role: Role) -> Actor:
    grant = GRANTS[role]
    return Actor("u", "U", grant.roles, grant.sites, grant.operator_id)


def routes(app) -> Iterator[Route]:
    yield from app.server.url_map.iter_rules()


def status_of(browser, route: Route, method: str) -> int:
    values = {name: EXAMPLES[name] for name in route.arguments}
    with browser.client.application.test_request_context():
        path = route.build(values)[1]
    if route.rule == "/_dash-update-component":
        body = {"output": SHOW_PAGE, "inputs": [], "outputs": [], "changedPropIds": []}
        return browser.post_json(path, body).status_code
    if method == "POST":
        return browser.post(path).status_code
    with browser.get(path) as answer:
        return answer.status_code


def allowed(endpoint: str) -> set[Role]:
    """Roles that get past the guard; typed above, or everybody who is logged in."""
    if endpoint.startswith("download-"):
        return FILES[Download[endpoint.removeprefix("download-")]]
    return FORMS.get(endpoint, set(Role))


@pytest.mark.parametrize("role", [*Role, None], ids=lambda role: role or "nobody")
def test_every_route(role: Role | None, request) -> None:
    """404 and the like mean that the guard let it pass, 403, 401 and the log-in that it did not."""
    make = request.getfixturevalue("browser_of" if role else "make_browser")
    request.getfixturevalue("people")
    browser = make(role) if role else make()
    browser.get("/log-in")
    for route in routes(request.getfixturevalue("make_browser").app):
        endpoint = plain_endpoint(route.endpoint, prefix="/")
        assert endpoint in ENDPOINT_RULES, f"{route.rule} has no rule in dashboard/rules.py"
        if endpoint == "log-out":
            continue  # Would end the walk; tests/access/test_guard.py.
        methods = {"GET", "POST"} & set(route.methods or ())
        for method in methods:
            status = status_of(browser, route, method)
            if role is None:
                is_through = status not in (302, 401) or endpoint in BEFORE_LOG_IN
                assert is_through == (endpoint in BEFORE_LOG_IN), (route.rule, method, status)
            elif endpoint not in BEFORE_LOG_IN:
                is_through = status not in (401, 403)
                assert is_through == (role in allowed(endpoint)), (route.rule, method, status)


def test_what_is_open_before_the_log_in_is_as_promised() -> None:
    assert {name for name, rule in ENDPOINT_RULES.items() if rule is OPEN} == BEFORE_LOG_IN


def test_no_rule_speaks_of_a_route_that_is_gone(make_browser) -> None:
    found = {plain_endpoint(one.endpoint, prefix="/") for one in routes(make_browser.app)}
    assert set(ENDPOINT_RULES) == found


@pytest.mark.parametrize("role", Role)
def test_every_screen_by_its_callback(browser_of, role: Role) -> None:
    assert set(SCREENS) == set(PAGE_RULES) == set(Page)
    browser = browser_of(role)
    for page, roles in SCREENS.items():
        shown = browser.navigate(page.value)
        assert ("may not open this screen" not in shown.text) == (role in roles), page
        assert PAGE_RULES[page].allows(actor(role)) == (role in roles)


@pytest.mark.parametrize("role", Role)
def test_every_download_has_its_roles(role: Role) -> None:
    assert set(FILES) == set(DOWNLOAD_RULES) == set(Download)
    for where, roles in FILES.items():
        assert DOWNLOAD_RULES[where].allows(actor(role)) == (role in roles), where


def test_every_callback_has_a_rule() -> None:
    app = create_app(sample_published)
    app.server.test_client().get("/", base_url="http://127.0.0.1")
    known = {*app.callback_map, *(one["output"] for one in app._callback_list)}
    known |= set(_callback.GLOBAL_CALLBACK_MAP)
    assert known
    assert known <= set(CALLBACK_RULES)


@pytest.mark.parametrize(
    "output", ["x.children", "", None, [], {"a": 1}, "_pages_content.children"]
)
def test_callback_without_a_rule_is_refused(browser_of, output) -> None:
    answer = browser_of(M).post_json("/_dash-update-component", {"output": output})
    assert answer.status_code == 403


def test_route_without_a_rule_is_refused_to_all(browser_of, make_browser) -> None:
    server = make_browser.app.server
    server._got_first_request = False
    server.add_url_rule("/forgotten", "forgotten", lambda: "secret")
    for role in Role:
        assert browser_of(role).get("/forgotten").status_code == 403


def commands(parser: argparse.ArgumentParser) -> Iterator[str]:
    below = [one for one in parser._actions if isinstance(one, argparse._SubParsersAction)]
    if not below:
        yield parser.prog.removeprefix("elastoqa ")
    for one in below:
        for child in one.choices.values():
            yield from commands(child)


MANAGES = {f"users {one}" for one in ("list", "invite", "roles", "reset", "disable", "logout-all")}
ONLY_ADMINISTRATORS = {"forget", "backup", "restore", "serve", *MANAGES}


def is_allowed(command: str, role: Role) -> bool:
    try:
        require_command(command, actor(role))
    except AccessRefused:
        return False
    return True


def test_every_command_has_a_rule_and_no_rule_speaks_of_one_that_is_gone() -> None:
    found = set(commands(make_parser()))
    assert not found - set(COMMAND_RULES), "add them to qa/cli/rules.py"
    assert not set(COMMAND_RULES) - found


def test_every_command_for_every_role() -> None:
    """For accounts, where a machine offers commands under them."""
    for name, permission in COMMAND_RULES.items():
        roles = {role for role in Role if is_allowed(name, role)}
        assert roles == {role for role in Role if may(actor(role), permission)}, name
        assert (roles == {A}) == (name in ONLY_ADMINISTRATORS), name
        assert not roles & {L, O} or permission in READING, "a part of a network is no network"
        assert R not in roles or permission in READING, "a reviewer changes nothing"


def test_command_without_a_rule_is_refused() -> None:
    with pytest.raises(AccessRefused):
        require_command("brand-new", Actor("u", "U", tuple(Role)))
