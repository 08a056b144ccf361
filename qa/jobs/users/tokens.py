"""Random tokens, of which a hash is kept. They have 256 bits, so a plain hash will do."""

import hashlib
import hmac
import secrets


def new_token() -> str:
    return secrets.token_urlsafe(32)


def new_id() -> str:
    """Example: 'u-1f0c…', for an account."""
    return f"u-{secrets.token_hex(6)}"


def hash_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def form_token(token: str) -> str:
    """What forms of a session carry: made from its token, so another session's does not fit."""
    return hmac.new(token.encode(), b"form", hashlib.sha256).hexdigest()


def is_same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode(), other.encode())
