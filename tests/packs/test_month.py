"""A whole month by one command, twice; and what a pack says held against the warehouse, later."""

import json
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

from qa.cli import main
from qa.jobs.close import run_close
from qa.jobs.month import MonthReport, run_month
from qa.jobs.packs import choose_packs
from qa.jobs.packs_then import make_packs_then
from qa.jobs.verify import verify_pack
from qa.model.errors import MonthIncomplete, VerificationFailed, WrongUse
from qa.model.pack_request import PackKind
from qa.model.sealed import seal
from qa.stores.run_lock import only_run
from reports.pack import render_pack
from tests.jobs.test_intake import FAULTS, KEY, line, write
from tests.packs.light import draw_but_fail, draw_light

MARCH = date(2026, 3, 1)
MONDAY = datetime(2026, 4, 6, 8, tzinfo=UTC)
TUESDAY, WEDNESDAY = MONDAY + timedelta(days=1), MONDAY + timedelta(days=2)


def do_month(folder: Path, at: datetime, render: Callable[..., Any] = render_pack) -> MonthReport:
    return run_month(
        folder,
        month=MARCH,
        key=KEY,
        render=render,
        software_version="1",
        by="command line",
        now=lambda: at,
        environ={},
    )


def only_of(text: str, *sites: str) -> str:
    """network.toml with some of its sites, and what belongs to them."""
    blocks = ("\n" + text).split("\n[")
    kept = [
        one
        for one in blocks
        if not one.startswith(("[sites", "[operators", "[devices"))
        or any(f'"{site}"' in one for site in sites)
    ]
    return "\n[".join(kept)


def make_folder(place: Path, *sites: str) -> Path:
    """A network of the sites of bad_exports, with five good exams of the harbour."""
    shutil.copytree(FAULTS / "network", place)
    path = place / "network.toml"
    path.write_text(only_of(path.read_text(encoding="utf-8"), *sites), encoding="utf-8")
    shared = place.parent / "shared"
    shared.mkdir()
    with (place / "network.toml").open("a", encoding="utf-8") as file:
        file.write(f'\n[delivery]\nfolder = "{shared}"\n')
    write(place, "a.csv", *(line(Exam=f"E-{n}", Valid=str(n)) for n in range(8, 13)))
    return place


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Monday: the month is done. Tuesday: an exam is corrected, and it is done again."""
    folder = make_folder(tmp_path_factory.mktemp("month") / "network", "harbour")
    do_month(folder, MONDAY)
    write(folder, "b.csv", line(Exam="E-8", Valid="12"))
    do_month(folder, TUESDAY)
    return folder


@pytest.fixture
def folder(done: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(done, tmp_path / "network"))


def files_of(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and "warehouse" not in path.name and "sqlite" not in path.name
    }


def issue(folder: Path, number: int) -> Path:
    (site,) = {path.name for path in (folder / "packs" / "2026-03").iterdir()}
    return folder / "packs/2026-03" / site / f"issue-{number}" / f"{site}-2026-03-{number}.pdf"


def test_a_month_done_again_changes_nothing(folder: Path) -> None:
    before = files_of(folder)
    report = do_month(folder, WEDNESDAY)
    assert (report.packs.made, report.failed, report.is_closed) == ((), [], False)
    assert report.delivery is not None
    assert (report.delivery.packs.n_sent, report.delivery.packs.n_before) == (0, 1)
    assert files_of(folder) == before


def test_a_correction_gives_a_second_issue_that_says_what_changed(folder: Path) -> None:
    replaces = json.loads(issue(folder, 2).with_suffix(".json").read_text())["replaces"]
    assert replaces["reason"] == "exports of the site arrived, were corrected or withdrawn since"
    assert any(one.startswith("Export b.csv (SHA-256 ") for one in replaces["changed"])
    assert len(list((folder / "packs").rglob("*.pdf"))) == 2


@pytest.mark.parametrize("number", [1, 2])
def test_each_issue_agrees_with_the_warehouse_as_known_then(folder: Path, number: int) -> None:
    lines = list(verify_pack(issue(folder, number), render=render_pack, environ={}))
    day = MONDAY if number == 1 else TUESDAY
    known = f"computed again from the warehouse as known at {day:%Y-%m-%d} 08:00 UTC: all equal."
    assert any(one.endswith(known) for one in lines)
    assert any("the same bytes" in one for one in lines)


def test_a_snapshot_that_was_forged_with_its_pack_is_found_by_the_warehouse(folder: Path) -> None:
    """The second issue, put in the place of the first, agrees with a snapshot, and with nothing
    that was known on Monday."""
    old, new = (issue(folder, number).with_suffix(".json") for number in (1, 2))
    manifest = json.loads(new.read_text())
    snapshots = folder / "snapshots"
    monday, tuesday = json.loads(old.read_text())["snapshot_id"], manifest["snapshot_id"]
    forged = snapshots / f"{tuesday}.duckdb"
    forged.chmod(0o644)
    with duckdb.connect(str(forged)) as connection:
        at = json.loads(old.read_text())["snapshot_published_at"]
        connection.execute("update meta set value = ? where key = 'published_at'", [at])
    assert monday != tuesday
    manifest["snapshot_published_at"] = at
    new.chmod(0o644)
    new.write_bytes(seal(manifest))
    with pytest.raises(VerificationFailed, match=r"computed from the warehouse as known"):
        list(verify_pack(issue(folder, 2), render=render_pack, environ={}))


def test_packs_as_known_then_say_what_was_issued_then(folder: Path) -> None:
    for number, moment in ((1, MONDAY), (2, WEDNESDAY)):
        found = make_packs_then(
            folder,
            month=MARCH,
            moment=moment,
            choose=choose_packs(PackKind.SITE, month=MARCH),
            render=render_pack,
            software_version="1",
            environ={},
        )
        (path,) = found.paths
        then = json.loads(path.with_suffix(".json").read_text())
        issued = json.loads(issue(folder, number).with_suffix(".json").read_text())
        assert then["figures"] == issued["figures"]
        assert found.rules_from == issued["snapshot_id"]
        assert then["number"] == 0
    assert len(list((folder / "packs" / "2026-03").rglob("*.pdf"))) == 2


def test_what_fails_at_one_site_is_said_and_kept_apart(tmp_path: Path) -> None:
    folder = make_folder(tmp_path / "network", "harbour", "lantern")
    report = do_month(folder, MONDAY, draw_but_fail)
    assert len(report.packs.made) == 1
    assert report.failed == ["lantern: " + report.packs.failed[0].message]
    with pytest.raises(MonthIncomplete, match="MON-003") as caught:
        report.raise_for_failed()
    assert caught.value.exit_code == 27
    again = do_month(folder, TUESDAY, draw_light)
    assert (len(again.packs.made), len(again.packs.kept), again.failed) == (1, 1, [])


def test_a_month_that_is_not_over_and_a_run_beside_another_are_refused(tmp_path: Path) -> None:
    folder = make_folder(tmp_path / "network", "harbour")
    with pytest.raises(WrongUse, match=r"MON-002.*March 2026 is not over"):
        do_month(folder, datetime(2026, 3, 31, 23, 59, tzinfo=UTC), draw_light)
    assert not (folder / "warehouse.duckdb").exists()
    with only_run(folder), pytest.raises(MonthIncomplete, match="MON-001"):
        do_month(folder, MONDAY, draw_light)
    assert not (folder / "warehouse.duckdb").exists()


def test_the_command_says_what_it_did_and_that_the_month_is_open(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = make_folder(tmp_path / "network", "harbour")
    environ = {"ELASTOQA_PSEUDONYM_KEY": KEY.decode()}
    assert main(["month", "2026-03", "--network", str(folder)], environ) == 0
    said = capsys.readouterr().out
    assert "1 pack of March 2026 made, 0 made before." in said
    assert "1 deliveries made; 0 reminders sent." in said
    assert "is not closed" in said
    run_close(folder, month=MARCH, by="ines", at=datetime.now(UTC))
    assert main(["month", "2026-03", "--network", str(folder)], environ) == 0
    said = capsys.readouterr().out
    assert "0 packs of March 2026 made, 1 made before." in said
    assert "is not closed" not in said
    (folder / "incoming" / "x" / "y.csv").parent.mkdir(exist_ok=True)
    next((folder / "incoming").glob("*/a.csv")).with_name("empty.csv").write_bytes(b"")
    assert main(["month", "2026-03", "--network", str(folder)], environ) == 27
