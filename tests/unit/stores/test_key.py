"""The pseudonym key: made once, read back, never shown."""

import os
import stat
from pathlib import Path

import pytest

from qa.model.errors import KeyMissing
from qa.stores.key import KEY_VARIABLE, create_key, key_fingerprint, load_key

HEX = "0123456789abcdef" * 4


def write_key(folder: Path, text: str, *, mode: int = 0o600) -> Path:
    path = folder / ".pseudonym_key"
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return path


def test_create_key_then_load_key_gives_64_hexadecimal_digits(tmp_path: Path):
    path = create_key(tmp_path)
    key = load_key(tmp_path, {})
    assert len(bytes.fromhex(key.decode("ascii"))) == 32
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_create_key_twice_keeps_the_first(tmp_path: Path):
    create_key(tmp_path)
    first = load_key(tmp_path, {})
    with pytest.raises(KeyMissing) as caught:
        create_key(tmp_path)
    assert caught.value.code == "KEY-001"
    assert load_key(tmp_path, {}) == first


def test_create_key_in_two_folders_gives_two_keys(tmp_path: Path):
    folders = [tmp_path / "a", tmp_path / "b"]
    for folder in folders:
        folder.mkdir()
        create_key(folder)
    assert load_key(folders[0], {}) != load_key(folders[1], {})


def test_load_key_environment_goes_before_the_file(tmp_path: Path):
    create_key(tmp_path)
    assert load_key(tmp_path, {KEY_VARIABLE: f" {HEX.upper()}\n"}) == HEX.encode()


def test_load_key_absent_says_what_to_restore(tmp_path: Path):
    with pytest.raises(KeyMissing, match="Restore it from your backup") as caught:
        load_key(tmp_path, {})
    assert caught.value.code == "KEY-002"


@pytest.mark.parametrize("text", ["", "secret-word", HEX[:62], HEX + "xyz", "ключ" * 16])
def test_load_key_wrong_text_is_refused_and_not_shown(tmp_path: Path, text: str):
    write_key(tmp_path, text)
    with pytest.raises(KeyMissing) as caught:
        load_key(tmp_path, {})
    assert caught.value.code == "KEY-003"
    assert not text or text not in str(caught.value)


@pytest.mark.parametrize("mode", [0o600, 0o400])
def test_load_key_of_its_owner_alone_is_read(tmp_path: Path, mode: int):
    write_key(tmp_path, HEX, mode=mode)
    assert load_key(tmp_path, {}) == HEX.encode()


@pytest.mark.skipif(os.name != "posix", reason="only POSIX keeps permissions for group and others")
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o602, 0o601, 0o644, 0o666, 0o777])
def test_load_key_that_others_may_reach_is_refused(tmp_path: Path, mode: int):
    path = write_key(tmp_path, HEX, mode=mode)
    with pytest.raises(KeyMissing, match=f"permissions are 0{mode:o}") as caught:
        load_key(tmp_path, {})
    assert caught.value.code == "KEY-005"
    assert f"chmod 600 '{path}'" in str(caught.value)
    assert HEX not in str(caught.value)
    assert load_key(tmp_path, {KEY_VARIABLE: HEX}) == HEX.encode()


def test_key_fingerprint_tells_keys_apart_and_holds_no_key():
    key, other = HEX.encode(), HEX[::-1].encode()
    assert key_fingerprint(key) == key_fingerprint(HEX.encode())
    assert key_fingerprint(key) != key_fingerprint(other)
    assert key_fingerprint(key) not in HEX
    assert len(key_fingerprint(key)) == 16
