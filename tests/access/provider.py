"""A hospital's log-in for tests: an OpenID Connect provider made with Authlib, its own process.

python -m tests.access.provider PORT BACK_URL

Everybody who comes is logged in at once, as whom POST /person said last (JSON): sub, email,
email_verified and, to try what a bad provider does, `claims` that are put over its own and
`is_other_key` to sign with a key that it does not publish.
"""

import sys
import time
from dataclasses import dataclass, field
from typing import Any

from authlib.integrations.flask_oauth2 import AuthorizationServer
from authlib.oauth2.rfc6749.grants import AuthorizationCodeGrant
from authlib.oauth2.rfc7636 import CodeChallenge
from authlib.oidc.core.grants import OpenIDCode
from flask import Flask, jsonify, request
from joserfc.jwk import RSAKey

CLIENT, SECRET = "elastography-qa", "a secret of tests"


@dataclass
class Client:
    client_id: str
    back: str

    def get_client_id(self) -> str:
        return self.client_id

    def get_default_redirect_uri(self) -> str:
        return self.back

    def get_allowed_scope(self, scope: str) -> str:
        return scope

    def check_redirect_uri(self, uri: str) -> bool:
        return uri == self.back

    def check_client_secret(self, secret: str) -> bool:
        return secret == SECRET

    def check_endpoint_auth_method(self, method: str, endpoint: str) -> bool:
        return method == "client_secret_basic"

    def check_response_type(self, kind: str) -> bool:
        return kind == "code"

    def check_grant_type(self, kind: str) -> bool:
        return kind == "authorization_code"


@dataclass
class Code:
    code: str
    client_id: str
    redirect_uri: str
    scope: str
    nonce: str
    code_challenge: str
    code_challenge_method: str

    def get_redirect_uri(self) -> str:
        return self.redirect_uri

    def get_scope(self) -> str:
        return self.scope

    def get_nonce(self) -> str:
        return self.nonce

    def get_auth_time(self) -> int:
        return int(time.time())

    def get_acr(self) -> None:
        return None

    def get_amr(self) -> None:
        return None


@dataclass
class State:
    issuer: str
    back: str
    key: RSAKey
    other_key: RSAKey
    person: dict[str, Any] = field(default_factory=dict)
    codes: dict[str, Code] = field(default_factory=dict)


def make_provider(state: State) -> Flask:
    app = Flask("provider")
    client = Client(CLIENT, state.back)
    server = AuthorizationServer(
        app,
        query_client=lambda client_id: client if client_id == CLIENT else None,
        save_token=lambda token, request: None,
    )
    server.register_grant(_code_grant(state), [CodeChallenge(required=True), _id_token(state)])

    @app.get("/.well-known/openid-configuration")
    def describe() -> Any:
        return jsonify(
            issuer=state.issuer,
            authorization_endpoint=f"{state.issuer}/authorise",
            token_endpoint=f"{state.issuer}/token",
            jwks_uri=f"{state.issuer}/keys",
        )

    app.add_url_rule("/keys", "keys", lambda: {"keys": [state.key.as_dict(private=False)]})

    @app.post("/person")
    def become() -> Any:
        state.person = request.get_json()
        return {}

    @app.get("/authorise")
    def authorise() -> Any:
        grant = server.get_consent_grant(end_user=state.person)
        return server.create_authorization_response(grant_user=state.person, grant=grant)

    @app.post("/token")
    def token() -> Any:
        return server.create_token_response()

    return app


def _code_grant(state: State) -> type[AuthorizationCodeGrant]:
    class CodeGrant(AuthorizationCodeGrant):
        TOKEN_ENDPOINT_AUTH_METHODS = ("client_secret_basic",)

        def save_authorization_code(self, code: str, request: Any) -> None:
            asked = request.payload.data
            state.codes[code] = Code(
                code,
                request.client.client_id,
                request.payload.redirect_uri,
                request.payload.scope,
                asked.get("nonce", ""),
                asked.get("code_challenge", ""),
                asked.get("code_challenge_method", ""),
            )

        def query_authorization_code(self, code: str, client: Client) -> Code | None:
            return state.codes.get(code)

        def delete_authorization_code(self, authorization_code: Code) -> None:
            state.codes.pop(authorization_code.code)

        def authenticate_user(self, authorization_code: Code) -> dict[str, Any]:
            return state.person

    return CodeGrant


def _id_token(state: State) -> OpenIDCode:
    class IdToken(OpenIDCode):
        def exists_nonce(self, nonce: str, request: Any) -> bool:
            return any(one.nonce == nonce for one in state.codes.values())

        def resolve_client_private_key(self, client: Client) -> RSAKey:
            return state.other_key if state.person.get("is_other_key") else state.key

        def get_client_algorithm(self, client: Client) -> str:
            return "RS256"

        def get_encode_header(self, client: Client) -> dict[str, str]:
            return {"alg": "RS256", "kid": state.key.kid or ""}

        def get_client_claims(self, client: Client) -> dict[str, Any]:
            return {"iss": state.issuer}

        def generate_user_info(self, user: dict[str, Any], scope: str) -> dict[str, Any]:
            own = {key: user[key] for key in ("sub", "email", "email_verified") if key in user}
            return own | user.get("claims", {})

    return IdToken(require_nonce=True)


if __name__ == "__main__":
    port, back_url = int(sys.argv[1]), sys.argv[2]
    keys = [RSAKey.generate_key(2048, {"kid": "one", "use": "sig"}) for _ in range(2)]
    kept = State(f"http://127.0.0.1:{port}", back_url, *keys)
    make_provider(kept).run("127.0.0.1", port, threaded=True)
