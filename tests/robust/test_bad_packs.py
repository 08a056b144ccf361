"""What goes wrong around packs: a full disk, a killed run, a pack of another network."""

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from qa.cli import main
from qa.jobs.packs import choose_packs, make_packs, try_packs
from qa.model.pack_request import PackKind
from qa.stores.pack_archive import list_issues
from tests.packs.conftest import MONTH, publish, sample_of_one_set
from tests.packs.light import draw_light

KILLED = """
import sys
from pathlib import Path
from qa.jobs.packs import make_packs
from tests.packs.conftest import MONTH
from tests.packs.light import draw_light

def tell(done, of, what):
    print(done, flush=True)
    if done == 3:
        sys.stdin.readline()

make_packs(Path(sys.argv[1]), month=MONTH, render=draw_light, progress=tell)
"""


@pytest.fixture(scope="module")
def published_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("published")
    publish(folder, sample_of_one_set())
    return folder


@pytest.fixture
def folder(published_folder: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(published_folder, tmp_path / "network"))


@pytest.fixture
def full_disk(folder: Path) -> Iterator[Path]:
    """The network's packs lie on a file system of 16 kB of their own."""
    packs = folder / "packs"
    packs.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=16k", "tmpfs", str(packs)]
    may_mount = shutil.which("mount") and os.geteuid() == 0
    if not may_mount or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("needs the right to mount a small file system")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(packs)], check=True)


def issued(folder: Path) -> dict[str, bytes]:
    """Every PDF in the archive; each stands with its manifest."""
    found = sorted((folder / "packs").rglob("*.pdf"))
    assert all(path.with_suffix(".json").is_file() for path in found)
    return {path.name: path.read_bytes() for path in found}


def test_a_full_disk_costs_packs_and_breaks_none(full_disk: Path) -> None:
    report = try_packs(
        full_disk, choose=choose_packs(PackKind.SITE, month=MONTH), render=draw_light
    )
    assert report.failed
    assert "[PCK-004]" in report.failed[0].message
    assert "the disk is full" in report.failed[0].message
    assert set(issued(full_disk)) == {path.name for path in report.made}
    assert not list((full_disk / "packs").rglob(".unfinished-*"))
    larger = ["mount", "-o", "remount,size=4m", str(full_disk / "packs")]
    subprocess.run(larger, check=True)
    again = make_packs(full_disk, month=MONTH, render=draw_light)
    assert again.kept == report.made
    assert len(issued(full_disk)) == 6


def test_a_killed_run_leaves_whole_packs_and_the_next_goes_on(folder: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stdout is not None
        assert [child.stdout.readline() for _ in range(4)] == ["0\n", "1\n", "2\n", "3\n"]
        child.send_signal(signal.SIGKILL)
        child.wait()
    before = issued(folder)
    assert len(before) == 3
    again = make_packs(folder, month=MONTH, render=draw_light)
    assert (len(again.kept), len(again.made)) == (3, 3)
    assert {name: issued(folder)[name] for name in before} == before


def test_a_half_written_issue_does_not_count_and_stops_nothing(folder: Path) -> None:
    left = folder / "packs" / "2026-10" / "S3" / ".unfinished-x1"
    left.mkdir(parents=True)
    (left / "S3-2026-10-1.pdf").write_bytes(b"%PDF")
    make_packs(folder, month=MONTH, site_id="S3", render=draw_light)
    assert [one.number for one in list_issues(folder, month=MONTH, site_id="S3")] == [1]


def test_a_pack_of_another_network_is_refused_in_words(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_packs(folder, month=MONTH, site_id="S3", render=draw_light)
    (pack,) = (folder / "packs").rglob("*.pdf")
    other = tmp_path / "other"
    other.mkdir()
    text = (folder / "network.toml").read_text()
    own = text.splitlines()[0]
    (other / "network.toml").write_text(text.replace(own, 'id = "another-network"', 1))
    for path in (pack, pack.with_suffix(".json")):
        shutil.copy(path, other / path.name)
    assert main(["verify", str(other / pack.name)], {}) == 18
    said = capsys.readouterr().err
    assert "[VER-004]" in said
    assert "expected: a pack of 'another-network'" in said.lower()
    assert "Traceback" not in said
