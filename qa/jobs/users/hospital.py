"""The hospital's own log-in: OpenID Connect, authorisation code with PKCE, state and nonce.

References: OpenID Connect Core 1.0, 3.1 (code flow, checks of the ID token); RFC 7636 (PKCE, S256);
    RFC 9207 (iss of the answer). From memory, verify.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from qa.jobs.users.accounts import Accounts, plain_email
from qa.jobs.users.log_in import LOG_IN, NOBODY, FrontDoor, Viewer
from qa.jobs.users.tokens import hash_of, is_same, new_token
from qa.model.accounts import Account, AccountState
from qa.model.errors import AccessRefused, FollowupError
from qa.model.record import Entry, time_text
from qa.stores.followup import accounts as rows
from qa.stores.followup.store import FollowupStore, Writing

SECONDS = 10
TRY_LASTS = timedelta(minutes=10)
SIGNED_BY = ["RS256", "PS256", "ES256", "EdDSA"]
LOOPBACK = ("127.0.0.1", "localhost", "::1")
CLOCK_SECONDS = 60
"""How far the provider's clock may be from ours."""


@dataclass(frozen=True)
class Hospital:
    """A provider. secret: "" for a public client."""

    store: FollowupStore
    issuer: str
    client_id: str
    secret: str

    def begin(self, *, visit: str, onward: str, back: str, at: datetime) -> str:
        """The provider's address to send a browser to.

        Args:
            visit: what this browser is known by; the answer must come from the same one.
            onward: where to go afterwards. back: our address that the provider sends people to.
        Raises: FollowupError USR-020 when the provider cannot be reached or is none.
        """
        facts = self._facts()
        state, nonce, verifier = new_token(), new_token(), new_token() + new_token()
        row = {
            "state_hash": hash_of(state),
            "visit_hash": hash_of(visit),
            "nonce": nonce,
            "verifier": verifier,
            "next_path": onward,
            "begun_at": time_text(at),
        }
        with self.store.writing() as writing:
            rows.insert_hospital_try(writing, row, forget_before=time_text(at - TRY_LASTS))
        url, _ = self._client(back).create_authorization_url(
            facts["authorization_endpoint"], state=state, nonce=nonce, code_verifier=verifier
        )
        return str(url)

    def finish(
        self,
        door: FrontDoor,
        answer: Mapping[str, str],
        *,
        visit: str,
        back: str,
        client: str,
        at: datetime,
        old_token: str = "",
    ) -> tuple[Viewer, str]:
        """Log in whom the provider vouches for; returns where to go on to, too.

        Raises: AccessRefused ACC-006 (state, nonce, token or answer does not fit), ACC-007 (was not
            invited), FollowupError USR-020 (provider out of reach).
        """
        try:
            kept = self._take(answer.get("state", ""), visit=visit, at=at)
            if answer.get("error") or not answer.get("code"):
                raise _refused("the hospital's log-in said no")
            if answer.get("iss") not in (None, self.issuer):
                raise _refused("the answer is another provider's")
            claims = self._claims(answer["code"], kept, back=back, at=at)
            with self.store.writing() as writing:
                account = self._account_of(writing, claims, at=at)
                viewer = door.begin(
                    writing,
                    account,
                    client=client,
                    at=at,
                    how="the hospital's log-in",
                    old_token=old_token,
                )
        except AccessRefused:
            with self.store.writing() as writing:
                writing.note(Entry(time_text(at), NOBODY, "failed to log in", LOG_IN, "unknown"))
            raise
        return viewer, kept["next_path"]

    # Parts

    def _take(self, state: str, *, visit: str, at: datetime) -> dict[str, str]:
        with self.store.writing() as writing:
            kept = rows.take_hospital_try(writing, hash_of(state))
        is_ours = kept is not None and is_same(kept["visit_hash"], hash_of(visit))
        if kept is None or not is_ours or kept["begun_at"] < time_text(at - TRY_LASTS):
            raise _refused("this log-in was not begun here, or too long ago")
        return kept

    def _claims(
        self, code: str, kept: Mapping[str, str], *, back: str, at: datetime
    ) -> dict[str, Any]:
        """What the provider says of the person, after its signature and every check."""
        from authlib.common.errors import AuthlibBaseError
        from joserfc import jwt
        from joserfc.errors import JoseError
        from joserfc.jwk import KeySet
        from requests import RequestException

        facts = self._facts()
        wanted = jwt.JWTClaimsRegistry(
            now=int(at.timestamp()),
            leeway=CLOCK_SECONDS,
            iss={"essential": True, "value": self.issuer},
            aud={"essential": True, "value": self.client_id},
            exp={"essential": True},
            iat={"essential": True},
            sub={"essential": True},
            nonce={"essential": True, "value": kept["nonce"]},
        )
        try:
            tokens = self._client(back).fetch_token(
                facts["token_endpoint"],
                code=code,
                code_verifier=kept["verifier"],
                timeout=SECONDS,
            )
            keys = KeySet.import_key_set(_read_json(facts["jwks_uri"]))
            claims = jwt.decode(tokens["id_token"], keys, algorithms=SIGNED_BY).claims
            wanted.validate(claims)
        except (AuthlibBaseError, JoseError, KeyError, TypeError, ValueError) as problem:
            raise _refused(f"what it says does not hold ({type(problem).__name__})") from None
        except RequestException:
            raise _out_of_reach() from None
        if claims.get("azp") not in (None, self.client_id):
            raise _refused("it was meant for another program")
        return dict(claims)

    def _account_of(self, writing: Writing, claims: Mapping[str, Any], *, at: datetime) -> Account:
        """By subject; the first time by an e-mail that the provider has verified."""
        subject = f"{self.issuer} {claims['sub']}"
        account = rows.find_account(writing, subject=subject)
        if account is None and claims.get("email_verified") is True:
            email = plain_email(str(claims.get("email", "")))
            found = rows.find_account(writing, email=email)
            account = found if found and found.subject is None else None
        if account is None or account.state is AccountState.DISABLED:
            raise AccessRefused(
                "the hospital knows you, but you were not invited here",
                todo="Ask the administrator for an invitation",
                code="ACC-007",
            )
        if account.subject == subject and account.state is AccountState.ACTIVE:
            return account

        def linked(old: Account) -> Account:
            return replace(old, subject=subject, state=AccountState.ACTIVE)

        desk = Accounts(self.store, account.actor, at)
        return desk._replace(
            writing, account.actor, account.user_id, "linked hospital log-in", linked
        )

    def _client(self, back: str) -> Any:
        from authlib.integrations.requests_client import OAuth2Session

        return OAuth2Session(
            self.client_id,
            self.secret or None,
            scope="openid email profile",
            redirect_uri=back,
            code_challenge_method="S256",
            token_endpoint_auth_method="client_secret_basic" if self.secret else "none",
        )

    def _facts(self) -> dict[str, str]:
        """The provider's addresses, from its own description."""
        from requests import RequestException

        require_safe(self.issuer)
        try:
            facts = _read_json(self.issuer.rstrip("/") + "/.well-known/openid-configuration")
            if facts["issuer"] != self.issuer:
                raise _out_of_reach()
            for name in ("authorization_endpoint", "token_endpoint", "jwks_uri"):
                require_safe(facts[name])
            return dict(facts)
        except (RequestException, ValueError, KeyError, TypeError):
            raise _out_of_reach() from None


def require_safe(url: str) -> None:
    """HTTPS, or this machine. Raises: FollowupError USR-021."""
    parts = urlsplit(url)
    if parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in LOOPBACK):
        return
    raise FollowupError(
        "the hospital's log-in is not reached by https",
        where="network.toml, [log_in]",
        expected='issuer = "https://…"',
        code="USR-021",
    )


def _read_json(url: str) -> Any:
    import requests

    answer = requests.get(url, timeout=SECONDS, allow_redirects=False)
    answer.raise_for_status()
    return answer.json()


def _refused(what: str) -> AccessRefused:
    return AccessRefused(
        f"the hospital's log-in did not work: {what}", todo="Log in again", code="ACC-006"
    )


def _out_of_reach() -> FollowupError:
    return FollowupError(
        "the hospital's log-in cannot be reached, or its description does not fit",
        where="network.toml, [log_in]",
        expected="an OpenID Connect provider at its issuer",
        todo="Log in with a password meanwhile, and tell the administrator",
        code="USR-020",
    )
