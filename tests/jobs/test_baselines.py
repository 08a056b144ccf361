"""Baselines as decisions: who, when, why; several in one series; never by themselves."""

import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from qa.cli import main
from qa.jobs.baselines import find_proposals, list_baselines, set_baseline
from qa.jobs.intake import run_intake
from qa.jobs.refresh import run_refresh
from qa.model.errors import WrongUse
from qa.stores.snapshots import open_current, open_snapshot
from tests.jobs.test_intake import FAULTS, KEY, line, write

AT = datetime(2026, 5, 4, 8, tzinfo=UTC)
LATER, LAST = AT + timedelta(days=1), AT + timedelta(days=2)
SETTINGS = "[settings]\nbaseline_months = 4\nbaseline_min_exams = 40\n"
N = 40
FAILED = [2, 2, 20, 2, 2, 2, 2, 2, 10, 10, 10, 10, 10, 10, 10, 2]
"""Failed of forty exams a month from January 2025 on: a wild third month, a lasting change."""


def month(number: int) -> date:
    return date(2025 + (number - 1) // 12, (number - 1) % 12 + 1, 1)


def exams_of(number: int, n_failed: int) -> list[str]:
    return [
        line(
            Exam=f"E-{number}-{row}",
            Patient=str(90_000_000 + number * 100 + row),
            Date=f"{month(number):%Y-%m}-{1 + row % 27:02} 09:{row:02}",
            **(
                {"Valid": "0", "Stiffness": "", "Stiffness_IQR": "", "Ratio_%": ""}
                if row < n_failed
                else {}
            ),
        )
        for row in range(N)
    ]


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("baselines") / "network"
    shutil.copytree(FAULTS / "network", folder)
    text = (folder / "network.toml").read_text(encoding="utf-8")
    (folder / "network.toml").write_text(text + SETTINGS, encoding="utf-8")
    rows = [row for number, n in enumerate(FAILED, start=1) for row in exams_of(number, n)]
    write(folder, "all.csv", *rows)
    run_intake(folder, key=KEY, known_at=AT)
    run_refresh(folder, at=AT, by="test", software_version="1")
    return folder


@pytest.fixture
def folder(published: Path, tmp_path: Path) -> Path:
    copy = tmp_path / "network"
    shutil.copytree(published, copy)
    return copy


def decide(folder: Path, **changes):
    given = {
        "unit": "site:harbour",
        "measure": "failed",
        "from_month": "2025-09",
        "to_month": "2025-12",
        "by": "R. Vane",
        "reason": "another way to count, agreed",
        "at": LATER,
    }
    return set_baseline(folder, **(given | changes))


def points_of(snapshot) -> pl.DataFrame:
    points = snapshot.frame("chart_points", unit_kind="site", unit_id="harbour")
    snapshot.close()
    return points.filter(pl.col("measure_id") == "MSR-003")


def test_first_baseline_takes_out_the_wild_month_and_lists_it(folder: Path):
    [one] = list_baselines(folder, site="harbour", measure="failed")[:1]
    assert one.row["removed_months"] == ["2025-03"]
    assert (one.row["n_events"], one.row["n"]) == (6, 120)
    assert "Taken out, outside their own limits: Mar 25." in one.sentence
    assert one.judges


def test_set_baseline_judges_from_its_month_and_keeps_the_first(folder: Path):
    before = points_of(open_current(folder))
    done = decide(folder)
    assert done.row["version_no"] == 2
    assert any("fewer than 12" in warning for warning in done.warnings)
    run_refresh(folder, at=LATER, by="test", software_version="1")
    points = points_of(open_current(folder))
    assert points["centre"].to_list() == pytest.approx([0.05] * 8 + [0.25] * 8)
    assert before["centre"].to_list() == pytest.approx([0.05] * 16)
    assert points["phase"].to_list()[8:12] == ["baseline"] * 4
    assert points["state"].to_list()[12:15] == ["steady"] * 3


def test_set_baseline_is_not_known_before_it_was_decided(folder: Path):
    decide(folder)
    for moment, expected in ((AT, 0.05), (LATER, 0.25)):
        report = run_refresh(folder, at=LAST, by="test", software_version="1", as_known_at=moment)
        points = points_of(open_snapshot(folder, report.snapshot_id))
        assert points["centre"][-1] == pytest.approx(expected)
    known = {"site": "harbour", "measure": "failed"}
    assert len(list_baselines(folder, as_known_at=AT, **known)) == 2
    assert len(list_baselines(folder, **known)) == 3


def test_a_later_decision_replaces_one_that_has_not_begun(folder: Path):
    decide(folder)
    decide(folder, from_month="2025-05", to_month="2025-08", at=LAST)
    harbour = [
        one
        for one in list_baselines(folder, site="harbour", measure="failed")
        if one.row["unit_kind"] == "site"
    ]
    assert [one.judges for one in harbour] == [True, False, True]
    assert [one.row["version_no"] for one in harbour] == [1, 2, 3]


def test_refresh_never_sets_a_baseline_again(folder: Path):
    for at in (LATER, LAST):
        report = run_refresh(folder, at=at, by="test", software_version="1")
        assert report.n_new_baselines == 0


def test_propose_shows_the_evidence_and_changes_nothing(folder: Path):
    n_before = len(list_baselines(folder))
    found = {one.proposal.unit_kind: one for one in find_proposals(folder, site="harbour")}
    one = found["site"]
    assert one.proposal.from_month == month(9)
    assert one.proposal.is_better is False
    assert "--unit site:harbour --measure MSR-003 --from 2025-09" in one.command
    assert len(list_baselines(folder)) == n_before


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"by": " "}, "USE-041"),
        ({"reason": ""}, "USE-041"),
        ({"measure": "nonsense"}, "USE-048"),
        ({"unit": "site:nowhere"}, "USE-049"),
        ({"unit": "network:x"}, "USE-049"),
        ({"to_month": "2025-08"}, "USE-043"),
        ({"to_month": "2026-04"}, "USE-044"),
        ({"from_month": "2024-01", "to_month": "2024-06"}, "USE-045"),
    ],
)
def test_set_baseline_refuses_what_cannot_be_decided(folder: Path, changes, code):
    with pytest.raises(WrongUse) as problem:
        decide(folder, **changes)
    assert code in problem.value.message


def test_command_lists_sets_and_proposes(folder: Path, capsys):
    where = ["--network", str(folder)]
    assert main(["baseline", "propose", *where], {}) == 0
    assert "Nothing was changed" in capsys.readouterr().out
    words = ["--unit", "site:harbour", "--measure", "failed", "--from", "2025-09"]
    who = ["--by", "R. Vane", "--reason", "agreed with the site"]
    assert main(["baseline", "set", *words, *who, *where], {}) == 0
    assert "Version 2, set by R. Vane" in capsys.readouterr().out
    assert main(["baseline", "list", "--site", "harbour", "--measure", "failed", *where], {}) == 0
    shown = capsys.readouterr().out
    assert "Agreed with the site." in shown
    assert "frozen by rule" in shown
    assert main(["baseline", "list", "--json", *where], {}) == 0
    assert '"set_by": "R. Vane"' in capsys.readouterr().out
