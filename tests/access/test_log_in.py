"""Throttling that all workers share, and what an attacker learns."""

import threading
from datetime import timedelta

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.low_level import Type

from qa.jobs.users.log_in import MOST_FOR_ACCOUNT, MOST_FOR_CLIENT, WINDOW
from qa.jobs.users.passwords import Passwords
from qa.model.errors import AccessRefused
from qa.model.permissions import Role
from tests.access.people import AT, GRANTS, PASSWORD, make_account, quick_door
from tests.followup.conftest import network_folder, store  # noqa: F401 - both databases
from tests.pages.sample_published import sample_published

EMAIL = "ines@clinic.invalid"
HERE, THERE = "127.0.0.1\nbrowser", "10.0.0.9\nbrowser"


@pytest.fixture
def door(store):  # noqa: F811
    made = quick_door(store)
    make_account(made, sample_published().network, GRANTS[Role.REVIEWER], email=EMAIL)
    return made


def code_of(door, email=EMAIL, password="wrong", client=HERE, at=AT) -> str:
    try:
        door.log_in(email, password, client=client, at=at)
    except AccessRefused as problem:
        return problem.code
    return "in"


@pytest.mark.parametrize("email", [EMAIL, "nobody@clinic.invalid"])
def test_account_is_throttled_whether_it_exists_or_not(door, email) -> None:
    codes = [code_of(door, email) for _ in range(MOST_FOR_ACCOUNT + 2)]
    assert codes == ["ACC-003"] * MOST_FOR_ACCOUNT + ["ACC-004"] * 2
    assert code_of(door, email, PASSWORD) == "ACC-004", "also with the right password"
    assert code_of(door, email, client=THERE) == "ACC-004", "also from elsewhere"


def test_wait_is_over_when_the_first_try_leaves_the_window(door) -> None:
    for minute in range(MOST_FOR_ACCOUNT):
        code_of(door, at=AT + timedelta(minutes=minute))
    over = AT + WINDOW
    assert code_of(door, password=PASSWORD, at=over - timedelta(seconds=1)) == "ACC-004"
    assert code_of(door, password=PASSWORD, at=over + timedelta(seconds=1)) == "in"


def test_message_says_how_long_to_wait(door) -> None:
    for _ in range(MOST_FOR_ACCOUNT):
        code_of(door)
    with pytest.raises(AccessRefused, match="15 minutes or later"):
        door.log_in(EMAIL, PASSWORD, client=HERE, at=AT)


def test_success_forgets_the_failures(door) -> None:
    for _ in range(3):
        assert [code_of(door) for _ in range(MOST_FOR_ACCOUNT - 1)] == ["ACC-003"] * 4
        assert code_of(door, password=PASSWORD) == "in"


def test_client_that_tries_many_accounts_is_throttled(door) -> None:
    codes = [code_of(door, f"u{number}@clinic.invalid") for number in range(MOST_FOR_CLIENT + 1)]
    assert codes == ["ACC-003"] * MOST_FOR_CLIENT + ["ACC-004"]
    assert code_of(door, "v@clinic.invalid", client="127.0.0.1\nanother program") == "ACC-004"
    assert code_of(door, password=PASSWORD, client=THERE) == "in"


def test_many_tries_at_once_count_as_many(door) -> None:
    """Two doors over one store stand for two workers."""
    codes: list[str] = []
    doors = [door, quick_door(door.store)]
    threads = [
        threading.Thread(target=lambda one=doors[n % 2]: codes.append(code_of(one)))
        for n in range(12)
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(codes) == ["ACC-003"] * MOST_FOR_ACCOUNT + ["ACC-004"] * 7


def test_passwords_are_kept_as_rfc_9106_says() -> None:
    """RFC 9106, section 4, second recommended option: argon2id, t = 3, m = 64 MiB, p = 4."""
    kept = extract_parameters(Passwords().hash(PASSWORD))
    assert (kept.type, kept.time_cost, kept.memory_cost, kept.parallelism) == (Type.ID, 3, 65536, 4)
    assert (kept.salt_len, kept.hash_len) == (16, 32)


def test_unknown_account_costs_a_check_too() -> None:
    checked: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, hash, password):
            checked.append(hash)
            return super().verify(hash, password)

    passwords = Passwords(Counting(time_cost=1, memory_cost=8, parallelism=1))
    assert not passwords.fits(None, "nobody's password")
    assert not passwords.fits(None, "x" * 5_000)
    assert not passwords.fits("no hash at all", "x")
    assert len(checked) == 3


def test_weak_hash_is_made_anew_at_the_next_log_in(door) -> None:
    stronger = PasswordHasher(time_cost=2, memory_cost=16, parallelism=1)
    later = type(door)(door.store, door.settings, Passwords(stronger))
    assert code_of(later, password=PASSWORD) == "in"
    viewer = later.log_in(EMAIL, PASSWORD, client=HERE, at=AT)
    assert extract_parameters(viewer.account.password_hash or "").time_cost == 2
