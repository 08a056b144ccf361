"""Passwords: argon2id, and which ones are taken.

Method: argon2id with t = 3, m = 64 MiB, p = 4, 128 bits of salt (RFC 9106, second recommended
    option; the library's default). Length over kinds of characters, and nothing of the person
    in it (NIST SP 800-63B, from memory, verify).
"""

from functools import cached_property
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from qa.model.errors import FollowupError

MIN_LENGTH, MAX_LENGTH = 12, 256
FEWEST_DIFFERENT = 5
AT_ONCE = 2
"""Passwords checked at the same time in one process: each takes 64 MiB."""


class Passwords:
    """Hashes and checks passwords. An account that does not exist costs the same time."""

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher = hasher or PasswordHasher()
        self._slots = BoundedSemaphore(AT_ONCE)

    def hash(self, password: str) -> str:
        with self._slots:
            return self._hasher.hash(password)

    def fits(self, kept: str | None, password: str) -> bool:
        """kept: None where there is no account or no password yet."""
        nobodys = self._dummy
        if len(password) > MAX_LENGTH:
            password, kept = password[:MAX_LENGTH], None
        with self._slots:
            try:
                return self._hasher.verify(kept or nobodys, password) and kept is not None
            except (VerificationError, InvalidHashError):
                return False

    def is_old(self, kept: str) -> bool:
        """Hashed with weaker parameters than today's."""
        return self._hasher.check_needs_rehash(kept)

    @cached_property
    def _dummy(self) -> str:
        return self._hasher.hash("nobody's password")


def check_new_password(password: str, *, email: str, name: str) -> None:
    """Raises: FollowupError USR-010 when it is too short, too long or too easy to guess."""
    low = password.casefold()
    parts = [*email.casefold().split("@"), *name.casefold().split()]
    if not MIN_LENGTH <= len(password) <= MAX_LENGTH:
        why = f"it has {len(password)} characters"
    elif len(set(low)) < FEWEST_DIFFERENT:
        why = "it repeats a few characters"
    elif any(len(part) > 3 and part in low for part in parts):
        why = "it holds the name or the e-mail address"
    else:
        return
    raise FollowupError(
        why,
        where="password",
        expected=f"{MIN_LENGTH} to {MAX_LENGTH} characters, for example four unrelated words",
        code="USR-010",
    )
