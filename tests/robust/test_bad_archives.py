"""Archives that are cut off, changed or made up: nothing of them is restored."""

import json
from pathlib import Path

import pytest

from qa.jobs.backup import run_restore
from qa.model.errors import BackupError
from tests.robust.archives import rewritten, unpacked


def changed(members: dict[str, bytes], name: str) -> dict[str, bytes]:
    return {**members, name: members[name][:-1] + bytes([members[name][-1] ^ 1])}


def without(members: dict[str, bytes], name: str) -> dict[str, bytes]:
    return {one: content for one, content in members.items() if one != name}


def first(members: dict[str, bytes], name: str, content: bytes) -> dict[str, bytes]:
    return {name: content, **members}


def retold(members: dict[str, bytes], **facts: object) -> dict[str, bytes]:
    manifest = {**json.loads(members["manifest.json"]), **facts}
    return {**members, "manifest.json": json.dumps(manifest).encode()}


BAD = {
    "one bit of the warehouse": (lambda m: changed(m, "warehouse.duckdb"), "BAK-005"),
    "one bit of network.toml": (lambda m: changed(m, "network.toml"), "BAK-005"),
    "a missing file": (lambda m: without(m, "profiles/plain.toml"), "BAK-005"),
    "a file more": (lambda m: first(m, "profiles/more.toml", b"x"), "BAK-005"),
    "no manifest": (lambda m: without(m, "manifest.json"), "BAK-004"),
    "a climbing name": (lambda m: first(m, "../../climbed", b"x"), "BAK-004"),
    "an absolute name": (lambda m: first(m, "/tmp/climbed", b"x"), "BAK-004"),
    "a link": (lambda m: first(m, "profiles@", b""), "BAK-004"),
    "a newer version": (lambda m: retold(m, format_version=2), "BAK-008"),
    "other counts": (lambda m: retold(m, counts={"rows of exams": 121}), "BAK-007"),
    "a manifest of something else": (lambda m: retold(m, files=[{"a": 1}]), "BAK-004"),
}


@pytest.mark.parametrize("kind", BAD)
def test_run_restore_of_a_changed_archive_touches_nothing(
    archive: Path, tmp_path: Path, kind: str
) -> None:
    change, code = BAD[kind]
    bad = rewritten(archive, tmp_path / "bad.tar.zst", change(unpacked(archive)))
    with pytest.raises(BackupError, match=code):
        run_restore(bad, tmp_path / "new")
    assert not (tmp_path / "new").exists()
    assert not list(tmp_path.glob(".restoring*"))


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.999])
def test_run_restore_of_an_archive_cut_off_touches_nothing(
    archive: Path, tmp_path: Path, share: float
) -> None:
    content = archive.read_bytes()
    (tmp_path / "cut.tar.zst").write_bytes(content[: int(share * len(content))])
    with pytest.raises(BackupError, match="BAK-004"):
        run_restore(tmp_path / "cut.tar.zst", tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_run_restore_of_something_else_says_so(tmp_path: Path) -> None:
    for name, content in (("text", b"hello"), ("zip", b"PK\x03\x04"), ("none", None)):
        if content is not None:
            (tmp_path / name).write_bytes(content)
        with pytest.raises(BackupError, match="BAK-004"):
            run_restore(tmp_path / name, tmp_path / "new")
