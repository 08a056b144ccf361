"""The same scenario gives the same bytes, another seed gives other exams, and it is quick."""

import hashlib
import re
import zipfile
from pathlib import Path

from demo_sites.make import make_demo
from tests.planted.conftest import Demo
from tests.planted.scenarios import SMALL, every_shape


def made(folder: Path, text: str) -> dict[str, str]:
    """Hash of every file of a demo made from a scenario."""
    path = folder.with_suffix(".toml")
    path.write_text(text, encoding="utf-8")
    make_demo(folder, scenario=path)
    return {
        one.relative_to(folder).as_posix(): hashlib.sha256(one.read_bytes()).hexdigest()
        for one in sorted(folder.rglob("*"))
        if one.is_file()
    }


def test_make_demo_same_seed_gives_same_bytes(tmp_path: Path) -> None:
    assert made(tmp_path / "a", every_shape()) == made(tmp_path / "b", every_shape())


def test_make_demo_workbooks_know_no_clock(tmp_path: Path) -> None:
    """A ZIP archive and a workbook's properties hold times; two runs may fall in one second."""
    made(tmp_path / "a", every_shape())
    paths = sorted((tmp_path / "a").rglob("*.xlsx"))
    assert paths
    for path in paths:
        with zipfile.ZipFile(path) as book:
            assert {one.date_time for one in book.infolist()} == {(1980, 1, 1, 0, 0, 0)}
            times = set(re.findall(rb"\d{4}-\d\d-\d\dT[\d:]+Z", book.read("docProps/core.xml")))
        assert times == {b"2026-01-01T00:00:00Z"}


def test_make_demo_other_seed_gives_other_exams(tmp_path: Path) -> None:
    first = made(tmp_path / "a", SMALL)
    other = made(tmp_path / "b", SMALL.replace("seed = 7", "seed = 8"))
    assert first.keys() == other.keys()
    assert not any(first[name] == other[name] for name in first if name.endswith(".csv"))


def test_make_demo_default_scenario_is_quick(demo: Demo) -> None:
    """Goal of the design: at most 10 s on one core; CPU time, as others share the machine."""
    assert demo.cpu_seconds < 10


def test_make_demo_reports_its_steps(tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    told: list[tuple[int, int]] = []
    make_demo(
        tmp_path / "out", scenario=path, progress=lambda done, total, _: told.append((done, total))
    )
    assert [done for done, _ in told] == list(range(1, told[0][1] + 1))
