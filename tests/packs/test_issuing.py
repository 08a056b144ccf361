"""Numbers, reasons and changes of re-issues; several processes; what fails stops nothing else."""

import json
from datetime import date
from pathlib import Path

import pytest

from qa.jobs.pack_changes import changes_between, reason_of, says_the_same
from qa.jobs.packs import choose_packs, issue_packs, make_packs, try_packs
from qa.model.errors import PackError
from qa.model.pack_request import PackKind
from qa.model.sealed import is_sealed
from qa.stores.pack_archive import list_issues, read_manifest
from tests.packs.conftest import LATER, MONTH, one_failed_exam_more, publish
from tests.packs.light import draw_but_die_at_s2, draw_but_fail, draw_light
from tests.pages.sample_published import SamplePublished

OLD = {
    "figures": [
        {"name": "failed", "label": "failed", "text": "3.1 %", "n": 97},
        {"name": "gone", "label": "gone", "text": "1", "n": None},
        {"name": "grades.x.network.0", "label": "all sites", "text": "5 %", "n": None},
    ],
    "source_files": [{"name": "a.csv", "sha256": "a" * 64, "state": "read"}],
    "criteria": [{"id": "set.v1", "fingerprint": "f1"}],
    "snapshot_id": "S1",
    "software_version": "1",
}
NEW = {
    **OLD,
    "figures": [
        {"name": "failed", "label": "failed", "text": "4.1 %", "n": 98},
        {"name": "grades.x.network.0", "label": "all sites", "text": "6 %", "n": None},
    ],
    "source_files": [{"name": "b.csv", "sha256": "b" * 64, "state": "read"}],
    "criteria": [{"id": "set.v2", "fingerprint": "f2"}],
}


def test_changes_are_told_one_by_one() -> None:
    assert changes_between(OLD, NEW) == [
        "Export a.csv (SHA-256 aaaaaaaaaaaa…): gone",
        "Export b.csv (SHA-256 bbbbbbbbbbbb…): new",
        "Criteria sets: set.v1 (f1) before, set.v2 (f2) now",
        "Failed: 3.1 %, n = 97 before, 4.1 %, n = 98 now",
        "All sites: 5 % before, 6 % now",
        "Gone: 1 before, gone now",
    ]


@pytest.mark.parametrize(
    ("change", "same", "reason"),
    [
        ({"snapshot_id": "S2", "trail_head": "x", "number": 2}, True, "figures of the month"),
        ({"software_version": "2"}, True, "version 2"),
        ({"documents": []}, True, "what people recorded"),
        ({"source_files": []}, False, "exports of the site"),
        ({"criteria": []}, False, "other rules"),
        ({"figures": NEW["figures"]}, False, "what people recorded"),
        ({"figures": [*OLD["figures"][:2], NEW["figures"][1]]}, True, "what people recorded"),
    ],
)
def test_only_what_says_something_else_is_worth_an_issue(
    change: dict[str, object], same: bool, reason: str
) -> None:
    """The figure of all sites alone is no news of this one."""
    assert says_the_same(OLD, {**OLD, **change}) is same
    assert reason_of(OLD, {**OLD, **change}).startswith(reason) or reason in reason_of(
        OLD, {**OLD, **change}
    )


def make(folder: Path, **options: object) -> object:
    return make_packs(folder, month=MONTH, site_id="S3", render=draw_light, **options)  # type: ignore[arg-type]


def test_a_new_issue_has_number_reason_and_changes(
    network_folder: Path, published: SamplePublished
) -> None:
    make(network_folder)
    publish(network_folder, one_failed_exam_more(published, "S3", MONTH), at=LATER)
    make(network_folder)
    first, second = list_issues(network_folder, month=MONTH, site_id="S3")
    manifest = read_manifest(second.manifest_path)
    replaces = manifest["replaces"]
    assert is_sealed(manifest)
    assert (replaces["number"], replaces["reason"]) == (1, "figures of the month changed since")
    assert replaces["pdf_sha256"] == read_manifest(first.manifest_path)["pdf_sha256"]
    (change,) = replaces["changed"]
    before, now = (int(word) for word in change.split() if word.isdigit())
    assert now == before + 1
    assert read_manifest(first.manifest_path)["replaces"] is None


def test_the_same_words_from_another_snapshot_are_kept(
    network_folder: Path, published: SamplePublished
) -> None:
    """Another site's correction publishes a new snapshot; this site's pack says what it said."""
    first = make(network_folder)
    publish(network_folder, one_failed_exam_more(published, "S1", MONTH), at=LATER)
    again = make(network_folder)
    assert (again.made, again.kept) == ((), first.made)  # type: ignore[attr-defined]
    asked = make(network_folder, reason="the lead asked for it")
    assert [path.name for path in asked.made] == ["S3-2026-10-2.pdf"]  # type: ignore[attr-defined]
    manifest = json.loads(asked.made[0].with_suffix(".json").read_text())  # type: ignore[attr-defined]
    assert manifest["replaces"]["reason"] == "the lead asked for it"
    again = make(network_folder, reason="the lead asked for it")
    assert again.made == ()  # type: ignore[attr-defined]


def test_several_processes_make_the_same_bytes(network_folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "network.toml").write_text((network_folder / "network.toml").read_text())
    (other / "snapshots").symlink_to(network_folder / "snapshots")
    make_packs(network_folder, month=MONTH, render=draw_light, processes=2)
    make_packs(other, month=MONTH, render=draw_light)
    one, two = (
        {path.relative_to(root): path.read_bytes() for path in (root / "packs").rglob("*.*")}
        for root in (network_folder, other)
    )
    assert one == two
    assert len(one) == 12


@pytest.mark.parametrize("processes", [1, 2])
def test_a_fault_at_one_site_stops_no_other(network_folder: Path, processes: int) -> None:
    choose = choose_packs(PackKind.SITE, month=MONTH)
    with pytest.raises(PackError, match=r"PCK-007.*S2.*PCK-009.*5 other packs") as caught:
        issue_packs(network_folder, choose=choose, render=draw_but_fail, processes=processes)
    assert "4711" not in str(caught.value)
    names = sorted(path.name for path in (network_folder / "packs").rglob("*.pdf"))
    assert names == [f"S{n}-2026-10-1.pdf" for n in (1, 3, 4, 5, 6)]


def test_a_process_that_is_killed_costs_its_own_pack_only(network_folder: Path) -> None:
    report = try_packs(
        network_folder,
        choose=choose_packs(PackKind.SITE, month=MONTH),
        render=draw_but_die_at_s2,
        processes=2,
    )
    assert [one.unit_id for one in report.failed] == ["S2"]
    assert "PCK-010" in report.failed[0].message
    assert len(report.made) == 5
    assert not list((network_folder / "packs").rglob(".unfinished-*/*"))


def test_progress_counts_every_pack(network_folder: Path) -> None:
    seen: list[tuple[int, int]] = []
    make_packs(
        network_folder,
        month=MONTH,
        render=draw_light,
        progress=lambda done, of, what: seen.append((done, of)),
    )
    assert seen == [(n, 6) for n in range(7)]


def test_a_month_without_exams_is_refused(network_folder: Path) -> None:
    with pytest.raises(PackError, match="PCK-002"):
        make_packs(network_folder, month=date(2019, 1, 1), render=draw_light)
    assert not (network_folder / "packs").exists()
