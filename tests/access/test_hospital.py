"""The hospital's log-in against a real provider process on loopback (tests/access/provider.py)."""

import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
import requests

from dashboard.access import SESSION, Access
from dashboard.app import create_app
from qa.jobs.followup.opening import command_actor
from qa.jobs.users.accounts import Accounts
from qa.jobs.users.hospital import Hospital, require_safe
from qa.jobs.users.opening import ENVIRON_SECRET, open_hospital
from qa.model.errors import FollowupError
from qa.model.permissions import Role
from tests.access.people import BASE, GRANTS, Browser
from tests.access.provider import CLIENT, SECRET
from tests.browser.conftest import free_port
from tests.pages.sample_published import sample_published

ROOT = Path(__file__).parent.parent.parent
INES = {"sub": "7f3", "email": "Ines@clinic.invalid", "email_verified": True}


@dataclass(frozen=True)
class Provider:
    issuer: str

    def become(self, **person: object) -> None:
        requests.post(f"{self.issuer}/person", json=person, timeout=10).raise_for_status()

    def follow(self, url: str) -> str:
        """What a browser does at the provider: it is sent back with a code."""
        answer = requests.get(url, timeout=10, allow_redirects=False)
        assert answer.status_code == 302, answer.text
        return answer.headers["Location"].removeprefix(BASE)


@pytest.fixture(scope="module")
def provider() -> Iterator[Provider]:
    port = free_port()
    command = [sys.executable, "-m", "tests.access.provider", str(port), f"{BASE}/log-in/back"]
    environ = {"AUTHLIB_INSECURE_TRANSPORT": "1", "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(command, cwd=ROOT, env=environ, stderr=subprocess.DEVNULL)
    found = Provider(f"http://127.0.0.1:{port}")
    try:
        for _ in range(300):
            try:
                requests.get(f"{found.issuer}/keys", timeout=1)
                break
            except requests.ConnectionError:
                time.sleep(0.1)
        yield found
    finally:
        process.terminate()
        process.wait(timeout=20)


@pytest.fixture
def invited(door) -> None:
    """Ines is invited and has no password; the clock is the provider's."""
    desk = Accounts(door.store, command_actor("tester"), datetime.now(UTC))
    grant = GRANTS[Role.SITE_LEAD]
    network = sample_published().network
    desk.invite(email="ines@clinic.invalid", name="Ines Vale", grant=grant, network=network)


@pytest.fixture
def browser(door, provider, invited) -> Browser:
    access = Access(
        door,
        lambda: sample_published().network,
        lambda: datetime.now(UTC),
        hospital=Hospital(door.store, provider.issuer, CLIENT, SECRET),
    )
    return Browser(create_app(sample_published, access=access).server.test_client())


def go(browser: Browser, onward: str = "/site?site=S3") -> str:
    """To the provider's address, from the form of the log-in page."""
    assert "hospital" in browser.get("/log-in").text
    sent = browser.post("/log-in/hospital", next=onward)
    assert sent.status_code == 303, sent.text
    return sent.location


def test_invited_person_logs_in_and_goes_on(browser, provider) -> None:
    provider.become(**INES)
    back = browser.get(provider.follow(go(browser)))
    assert (back.status_code, back.location) == (303, "/site?site=S3")
    assert browser.get("/site").status_code == 200
    assert "Ines Vale" in browser.get("/account").text


def test_request_carries_state_nonce_and_challenge_and_no_secret(browser) -> None:
    asked = {key: value[0] for key, value in parse_qs(urlsplit(go(browser)).query).items()}
    assert asked["code_challenge_method"] == "S256"
    assert asked["scope"].split()[0] == "openid"
    assert min(len(asked[one]) for one in ("state", "nonce", "code_challenge")) >= 43
    assert SECRET not in repr(asked)
    assert "code_verifier" not in asked


def test_later_the_subject_counts_and_no_longer_the_email(browser, provider) -> None:
    provider.become(**INES)
    browser.get(provider.follow(go(browser)))
    browser.post("/log-out")
    provider.become(**(INES | {"email": "new@clinic.invalid", "email_verified": False}))
    assert browser.get(provider.follow(go(browser))).status_code == 303
    browser.post("/log-out")
    provider.become(**(INES | {"sub": "another"}))
    assert browser.get(provider.follow(go(browser))).status_code == 403


UNINVITED, FALSE = "not invited here", "does not hold"
BAD = {
    "not invited": ({"email": "nobody@clinic.invalid"}, UNINVITED),
    "mail not verified": ({"email_verified": False}, UNINVITED),
    "verified in words": ({"email_verified": "true"}, UNINVITED),
    "no mail": ({"email": ""}, UNINVITED),
    "other key": ({"is_other_key": True}, "BadSignatureError"),
    "other nonce": ({"claims": {"nonce": "planted"}}, "InvalidClaimError"),
    "other audience": ({"claims": {"aud": ["somebody-else"]}}, "InvalidClaimError"),
    "other party": ({"claims": {"azp": "somebody-else"}}, "another program"),
    "other issuer": ({"claims": {"iss": "http://127.0.0.1:1"}}, "InvalidClaimError"),
    "run out": ({"claims": {"exp": 1_600_000_000}}, "ExpiredTokenError"),
    "no end": ({"claims": {"exp": None}}, FALSE),
    "no subject": ({"claims": {"sub": ""}}, FALSE),
}


@pytest.mark.parametrize("fault", BAD)
def test_what_does_not_hold_logs_nobody_in(browser, provider, door, fault) -> None:
    person, why = BAD[fault]
    provider.become(**(INES | person))
    answer = browser.get(provider.follow(go(browser)))
    assert answer.status_code == 403
    assert why in answer.text
    assert browser.cookie(SESSION) == ""
    with door.store.reading() as reading:
        assert list(reading.entries())[-1].action == "failed to log in"


def test_answer_counts_once_and_only_in_the_browser_that_asked(browser, provider) -> None:
    provider.become(**INES)
    back = provider.follow(go(browser))
    other = Browser(browser.client.application.test_client())
    other.get("/log-in")
    assert other.get(back).status_code == 403, "a link sent to somebody else logs nobody in"
    assert browser.get(back).status_code == 403, "the try is used up"
    assert browser.get("/log-in/back?code=x&state=y").status_code == 403
    assert browser.get("/log-in/back?error=access_denied").status_code == 403


def test_other_verifier_is_refused_by_the_provider(browser, provider, door) -> None:
    provider.become(**INES)
    back = provider.follow(go(browser))
    with door.store.writing() as writing:
        writing.connection.exec_driver_sql("UPDATE hospital_tries SET verifier = 'x'")
    assert browser.get(back).status_code == 403


def test_disabled_account_stays_out(browser, provider, door) -> None:
    provider.become(**INES)
    desk = Accounts(door.store, command_actor("tester"), datetime.now(UTC))
    desk.disable(desk.list()[0].user_id)
    assert browser.get(provider.follow(go(browser))).status_code == 403


def test_provider_out_of_reach_is_said_and_passwords_still_work(door, invited) -> None:
    gone = Hospital(door.store, "http://127.0.0.1:9", CLIENT, SECRET)
    with pytest.raises(FollowupError, match="USR-020"):
        gone.begin(visit="v", onward="/", back="http://x/", at=datetime.now(UTC))


@pytest.mark.parametrize(
    ("url", "is_safe"),
    [
        ("https://log-in.clinic.invalid", True),
        ("http://127.0.0.1:9000", True),
        ("http://log-in.clinic.invalid", False),
        ("http://127.0.0.1.evil.example", False),
        ("ftp://127.0.0.1", False),
    ],
)
def test_only_https_or_this_machine(url, is_safe) -> None:
    if is_safe:
        require_safe(url)
        return
    with pytest.raises(FollowupError, match="USR-021"):
        require_safe(url)


def test_secret_comes_from_the_environment_or_a_private_file(store, tmp_path) -> None:
    network = tmp_path / "network.toml"
    more = '[log_in]\nissuer = "https://x.invalid"\nclient_id = "qa"\nsecret_file = "secret"\n'
    network.write_text(network.read_text(encoding="utf-8") + more, encoding="utf-8")
    by_environ = open_hospital(tmp_path, store, environ={ENVIRON_SECRET: "one"})
    assert by_environ is not None
    assert by_environ.secret == "one"
    with pytest.raises(FollowupError, match="USR-022"):
        open_hospital(tmp_path, store, environ={})
    secret = tmp_path / "secret"
    secret.write_text("two\n", encoding="utf-8")
    secret.chmod(0o644)
    with pytest.raises(FollowupError, match="USR-022"):
        open_hospital(tmp_path, store, environ={})
    secret.chmod(0o600)
    by_file = open_hospital(tmp_path, store, environ={})
    assert by_file is not None
    assert by_file.secret == "two"
