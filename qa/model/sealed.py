"""Sealed JSON: a record that carries the SHA-256 of its own content.

The seal shows a changed character; it is no signature and does not say who changed it.
"""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

SEAL = "manifest_sha256"


def digest_of(content: Mapping[str, Any]) -> str:
    """SHA-256 over the canonical JSON of the content without its seal.

    Canonical: keys sorted, no spaces, UTF-8, no escapes beyond JSON's own.
    """
    bare = {key: value for key, value in content.items() if key != SEAL}
    text = json.dumps(bare, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def seal(content: Mapping[str, Any]) -> bytes:
    """JSON for people and programs (indented, in the order given), with its seal last."""
    sealed = {**content, SEAL: digest_of(content)}
    return (json.dumps(sealed, indent=1, ensure_ascii=False) + "\n").encode()


def is_sealed(content: Mapping[str, Any]) -> bool:
    """True where the content still has the digest that it carries."""
    return content.get(SEAL) == digest_of(content)
