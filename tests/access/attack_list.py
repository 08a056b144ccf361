"""Tries to get what one may not have, as a table: who sends what, and what must come of it.

Sources: OWASP Web Security Testing Guide (chapters on identity, authentication, authorisation,
session, input validation, error handling, client side); OWASP cheat sheets on CSRF, unvalidated
redirects, file upload, CSV injection; each try is worded for this app.
"""

from dataclasses import dataclass, field
from typing import Any

from dashboard.access import SESSION, VISIT
from dashboard.addresses import Download
from qa.model.permissions import Role
from tests.access.people import SHOW_PAGE

LEAD, MANAGER, OPERATOR, REVIEWER, ADMIN, NOBODY = (
    Role.SITE_LEAD,
    Role.QA_MANAGER,
    Role.OPERATOR,
    Role.REVIEWER,
    Role.ADMINISTRATOR,
    None,
)
SCRIPT = "\"><script>alert('x')</script><img src=x onerror=alert(1)>"
CALL = "/_dash-update-component"
_PARTS = "multipart/form-data; boundary=a"
REFUSED = (400, 401, 302, 403, 404, 405, 413, 422)


@dataclass(frozen=True)
class Try:
    """One request. token: None for the page's own. want: what may come back, never more."""

    name: str
    who: Role | None
    path: str
    want: tuple[int, ...] = REFUSED
    method: str = "GET"
    form: dict[str, Any] | None = None
    json: Any = None
    data: bytes | None = None
    headers: dict[str, str] = field(default_factory=dict)
    cookies: dict[str, str] = field(default_factory=dict)
    token: str | None = None
    absent: tuple[str, ...] = ()


def _post(name: str, who: Role | None, path: str, want: tuple[int, ...], **more: Any) -> Try:
    return Try(name, who, path, want, method="POST", **more)


def page_call(path: Any, search: Any = "", **changes: Any) -> dict[str, Any]:
    """What Dash sends to show an address, with parts of it forged."""
    outputs = [("_pages_content", "children"), ("_pages_store", "data")]
    inputs = [("pathname", path), ("search", search)]
    return {
        "output": SHOW_PAGE,
        "outputs": [{"id": id, "property": name} for id, name in outputs],
        "inputs": [
            {"id": "_pages_location", "property": name, "value": value} for name, value in inputs
        ],
        "changedPropIds": ["_pages_location.pathname"],
        **changes,
    }


def _cookies() -> list[Try]:
    """Sessions that nobody was given."""
    forged = {
        "random": "u" * 43,
        "too long": "x" * 60_000,
        "null byte": "abc%00def",
        "no UTF-8": "\xff\xfe",
        "like SQL": "' OR '1'='1",
        "signed as a session of the framework": "eyJyb2xlIjoiYWRtaW4ifQ.aaaa.bbbb",
        "none as JSON": "null",
    }
    found = [
        Try(f"forged cookie, {name}", NOBODY, "/account", (302,), cookies={SESSION: value})
        for name, value in forged.items()
    ]
    found.append(
        _post("planted visit and its form", NOBODY, "/log-in", (400,), cookies={VISIT: "planted"},
              form={"email": "a@b.invalid", "password": "x"}, token="planted")
    )  # fmt: skip
    return found


def _paths() -> list[Try]:
    """Ways out of a folder, in every address that names a file or an id."""
    up = "../../../../etc/passwd"
    places = [f"{one.value}?site={up}" for one in Download]
    places += [f"{one.value}?month={up}" for one in Download]
    places += [
        f"/assets/{up}",
        "/assets/..%2f..%2fqa%2f__init__.py",
        "/assets/%2e%2e/app.py",
        "/assets/fonts/../choices.js",
        "/assets//etc/passwd",
        "/_dash-component-suites/dash/deps/../../../../app.py",
        "/_dash-component-suites/dash/..%2f__init__.py",
        "/_dash-component-suites/os/path.py",
        "/_dash-component-suites/qa/model/errors.py",
        "/static/../app.py",
        "/users/..%2f..%2faccount",
        "/link/..%2f..%2fusers",
        "/health/../users",
    ]
    shown = ("root:", "import ", "def ")
    return [
        Try(f"path, {who or 'nobody'}, {where}", who, where, (*REFUSED, 200), absent=shown)
        for who in (NOBODY, LEAD)
        for where in places
    ]


def _forms() -> list[Try]:
    """Forms without their token, from elsewhere, by other methods, too large."""
    fields = {"email": "eve@y.invalid", "name": "Eve", "role": "administrator"}
    evil = {"Origin": "https://evil.example"}
    found = [
        _post("no token", ADMIN, "/users", (400,), form=fields, token=""),
        _post("another's token", ADMIN, "/users", (400,), form=fields, token="0" * 64),
        _post("token in the address", ADMIN, "/users?csrf_token=x", (400,), form=fields, token=""),
        _post("foreign origin", ADMIN, "/users", (403,), form=fields, headers=evil),
        _post("origin null", ADMIN, "/users", (403,), form=fields, headers={"Origin": "null"}),
        _post("origin on another port", ADMIN, "/users", (403,), form=fields,
              headers={"Origin": "http://127.0.0.1:9999"}),
        _post("origin that begins like ours", ADMIN, "/users", (403,), form=fields,
              headers={"Origin": "http://127.0.0.1:8050.evil.example"}),
        _post("cross-site by fetch metadata", ADMIN, "/users", (403,), form=fields,
              headers={"Sec-Fetch-Site": "cross-site"}),
        _post("same-site by fetch metadata", ADMIN, "/users", (403,), form=fields,
              headers={"Sec-Fetch-Site": "same-site"}),
        _post("log-in from elsewhere", NOBODY, "/log-in", (403,), headers=evil,
              form={"email": "a@b.invalid", "password": "x"}),
        _post("callback from elsewhere", LEAD, CALL, (403,), json=page_call("/"), headers=evil),
        _post("callback as plain text", LEAD, CALL, (400, 403, 415), data=b'{"output": "x"}',
              headers={"Content-Type": "text/plain"}),
        _post("log out without a token", LEAD, "/log-out", (400,), form={}, token=""),
        _post("method told in a header", ADMIN, "/users", (400,), form=fields, token="",
              headers={"X-HTTP-Method-Override": "GET"}),
        _post("form of a whole megabyte", ADMIN, "/users", (413,), form={"name": "x" * 1_100_000}),
        _post("form of thousands of parts", ADMIN, "/users", (413, 422),
              form={f"p{number}": "x" for number in range(7_000)}),
        _post("large form of nobody", NOBODY, "/log-in", (413,), form={"email": "x" * 20_000}),
        _post("file of 21 MB", MANAGER, "/intake/try", (413,), data=b"x" * 21 * 1024**2,
              headers={"Content-Type": _PARTS}),
        _post("packed body", MANAGER, "/intake/try", (400, 422), data=b"\x1f\x8b\x08\x00" * 50,
              headers={"Content-Encoding": "gzip", "Content-Type": _PARTS}),
        _post("boundary that never comes", MANAGER, "/intake/try", (400, 422), data=b"--b\r\n" * 9,
              headers={"Content-Type": _PARTS}),
    ]  # fmt: skip
    methods = ["PUT", "DELETE", "PATCH", "TRACE", "CONNECT", "PROPFIND", "GETX"]
    for method in methods:
        for path in ("/users", "/export/exams.csv", "/log-in"):
            found.append(Try(f"{method} {path}", ADMIN, path, (400, 403, 405), method=method))
    return found


def _hosts() -> list[Try]:
    """Forged names of this machine and of a proxy that is not there."""
    names = {
        "evil.example": (403,),
        "127.0.0.1.evil.example": (403,),
        "evil.example:8050": (400, 403),
        "127.0.0.1@evil.example": (400, 403),
        "localhost.evil.example": (400, 403),
    }
    found = [
        Try(f"host {name}", ADMIN, "/users", want, headers={"Host": name}, absent=("evil",))
        for name, want in names.items()
    ]
    told = {
        "X-Forwarded-Host": "evil.example",
        "X-Forwarded-For": "10.0.0.1",
        "X-Forwarded-Proto": "https",
        "X-Forwarded-Prefix": "/evil",
        "Forwarded": "for=1.2.3.4;host=evil.example;proto=https",
        "X-Original-URL": "/users",
        "X-Rewrite-URL": "/users",
    }
    found += [
        Try(f"{name} told by somebody", LEAD, "/users", (403,), headers={name: value},
            absent=("evil",))
        for name, value in told.items()
    ]  # fmt: skip
    return found


def _callbacks() -> list[Try]:
    """Dash's own route, with everything that its client may choose."""
    one = {"id": "_pages_content", "property": "children"}
    bodies: dict[str, Any] = {
        "nothing": None,
        "a list": [],
        "output only": {"output": SHOW_PAGE},
        "output of no callback": page_call("/", output="users.children"),
        "one of two outputs": page_call("/", output="_pages_content.children", outputs=[one]),
        "foreign outputs": page_call("/", outputs=[{"id": "users", "property": "children"}] * 2),
        "outputs that are text": page_call("/", outputs="x"),
        "inputs that are text": page_call("/", inputs="x"),
        "one input too many": page_call("/", inputs=[*page_call("/")["inputs"], one]),
        "another input's id": page_call("/", inputs=[{**one, "value": "/"}] * 2),
        "state nobody declared": page_call("/", state=[{**one, "value": 1}]),
        "path that is a number": page_call(5),
        "path that is a list": page_call(["/site"]),
        "path that is an object": page_call({"x": 1}),
        "path of another machine": page_call("http://evil.example/"),
        "path with a null byte": page_call("/site\x00"),
        "path with half a character": page_call("/\ud800"),
        "query that is a number": page_call("/site", 5),
        "query with a new line": page_call("/site", "?site=S3\nX: 1"),
        "an object thirty deep": page_call("/", changedPropIds=[], extra=_nested(30)),
        "changed parts that are none": page_call("/", changedPropIds=[{"a": 1}]),
        "proto": page_call("/", output="__proto__"),
    }
    found = [
        _post(f"callback, {name}", MANAGER, CALL, (400, 403), json=body)
        for name, body in bodies.items()
    ]
    found.append(
        _post("callback, 100,000 brackets", MANAGER, CALL, (400, 403), data=b"[" * 100_000,
              headers={"Content-Type": "application/json"})
    )  # fmt: skip
    return found


def _nested(deep: int) -> Any:
    return [] if deep == 0 else [_nested(deep - 1)]


def _foreign_ids() -> list[Try]:
    """Other sites' and people's ids where a site lead or an operator may ask for own ones."""
    queries = ("site=S2", "site=S3&site=S2", "site=S2&site=S3", "operator=21", "site=s2",
               "site=S2%00", "site=S3,S2", "site=*", "site=%25", "site=S3%27%20OR%20%271%27=%271",
               "series=site-S2", "site=S%EF%BC%92", "site=%D0%85%32")  # fmt: skip
    found = [
        Try(f"{who}, {where.value}?{query}", who, f"{where.value}?{query}", (200, 403, 404))
        for who in (LEAD, OPERATOR)
        for where in (Download.EXAMS, Download.CHARTS, Download.OPERATORS)
        for query in queries
    ]
    found += [
        _post(
            f"{who}, callback {page}?{query}", who, CALL, (200,), json=page_call(page, f"?{query}")
        )
        for who in (LEAD, OPERATOR, ADMIN)
        for page in ("/site", "/operators", "/")
        for query in ("site=S2", "operator=21", "site=S3&site=S2")
    ]
    day = {"day": "2026-11-01", "due_on": "2026-12-01"}
    found += [
        _post("device of another site", LEAD, "/devices/enter", (403, 404, 422),
              form={"what": "event", "device_id": "D2", "kind": "service", **day}),
        _post("case at another site", LEAD, "/follow-up/open", (403, 422),
              form={"what": "open", "title": "x", "site_id": "S2", "owner": "Eve", **day}),
        _post("file of another site", LEAD, "/intake/try", (400, 403, 422),
              form={"what": "check", "site": "S2"}),
        _post("question that was not released", LEAD, "/operators/release", (403,),
              form={"what": "release", "question": "x", "why": "x"}),
        _post("users by a lead", LEAD, "/users", (403,), form={"email": "eve@y.invalid"}),
        _post("a decision by a reviewer", REVIEWER, "/follow-up/open", (403,),
              form={"what": "open", "title": "x", **day}),
        _post("more roles for oneself", LEAD, "/account", (422,), form={"role": "administrator"}),
        Try("results by the administrator", ADMIN, "/export/exams.csv?site=S3", (403,)),
        Try("case like SQL", LEAD, "/follow-up/case?case='%20OR%201=1--", (404, 422)),
        Try("case like a template", LEAD, "/follow-up/case?case={{7*7}}", (404, 422),
            absent=("49",)),
        Try("user like SQL", ADMIN, "/users/u-1'%20UNION%20SELECT%201--", (404,)),
        Try("user with a null byte", ADMIN, "/users/%00", (404,)),
    ]  # fmt: skip
    return found


def _reflected() -> list[Try]:
    """Scripts and line ends in every part of a query; nothing of it may come back as markup."""
    names = ["site", "operator", "measure", "month", "table", "draw", "limits", "rules", "pool"]
    names += ["period", "series", "round", "next", "case", "item", "device", "question", "list"]
    script = "%22%3E%3Cscript%3Ealert('x')%3C/script%3E"
    pages = ("/", "/site", "/export/chart.csv", "/follow-up/case", "/devices/enter", "/intake/try")
    query = "&".join(f"{name}={script}" for name in names)
    found = [Try(f"script in every part of {page}", MANAGER, f"{page}?{query}", (*REFUSED, 200))
             for page in pages]  # fmt: skip
    found += [
        Try(f"script in {name}", MANAGER, f"/export/chart.csv?{name}={script}", (404, 200))
        for name in names
    ]
    found += [
        Try("script in a path", MANAGER, f"/{script}", (200, 404)),
        Try("line ends in a month", MANAGER, "/export/exams.csv?month=2026%0d%0aX-Evil:%201",
            (404,)),
        Try("line ends in the way back", NOBODY, "/log-in?next=/x%0d%0aX-Evil:%201", (200,)),
        Try("line ends in a path", NOBODY, "/x%0d%0aX-Evil:%201", (302,)),
        Try("a page kept by a cache", LEAD, "/account/assets/look.css", (200, 404)),
        Try("an agent of line ends", LEAD, "/users", (302, 403), headers={"User-Agent": "\x1b[2J"}),
    ]  # fmt: skip
    return found


TRIES = [
    *_cookies(), *_paths(), *_forms(), *_hosts(), *_callbacks(), *_foreign_ids(), *_reflected()
]  # fmt: skip
REDIRECTS = (
    "//evil.example", "/\\evil.example", "\\\\evil.example", "https://evil.example/", "/%09/evil",
    "javascript:alert(1)", "data:text/html,x", "/\tevil.example", "/\r\nLocation: //evil.example",
    " //evil.example", "http:evil.example", "///evil.example", "/;@evil.example", "?//evil.example",
    "/%2f%2fevil.example", "/.//evil.example", "//127.0.0.1@evil.example",
    "\u2215\u2215evil.example", "/\u200b/evil.example", "https:///evil.example",
    "HTTPS://EVIL.EXAMPLE", "/x#//evil.example",
)  # fmt: skip
CONFUSABLES = (
    "site.lead@clinic.inval\u0131d",  # dotless i
    "\u0455ite.lead@clinic.invalid",  # Cyrillic s
    "site.lead@clinic.invalid\u200b",  # zero width
    "site.lead\uff20clinic.invalid",  # full-width at
    "\u017fite.lead@clinic.invalid",  # long s, low form is s
    "site.lead@clinic\u3002invalid",  # ideographic full stop
    "site.lead@clinic.invalid\x00",
    "' OR 1=1 --@clinic.invalid",
)
