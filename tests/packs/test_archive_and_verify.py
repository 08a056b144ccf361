"""The archive never writes over; verify names the byte, digest or figure that differs."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from qa.jobs.packs import make_packs
from qa.jobs.verify import verify_pack
from qa.model.errors import PackError, SnapshotError, VerificationFailed
from qa.model.pack_request import PackKind, PackRequest
from qa.model.sealed import is_sealed, seal
from qa.stores.pack_archive import archive_pack, list_issues
from qa.stores.rewriting import remove_from_snapshot
from reports.pack import render_pack
from tests.packs.conftest import LATER, MONTH, one_failed_exam_more, publish
from tests.pages.sample_published import SamplePublished


@pytest.fixture
def pack_path(network_folder: Path) -> Path:
    report = make_packs(network_folder, month=MONTH, site_id="S3", render=render_pack)
    return report.made[0]


def rewrite(path: Path, content: bytes) -> None:
    """Change an archived file as somebody with the rights to do so would."""
    path.chmod(0o644)
    path.write_bytes(content)


def change_manifest(
    path: Path, change: Callable[[dict[str, Any]], None], *, is_resealed: bool
) -> None:
    manifest = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    change(manifest)
    content = seal(manifest) if is_resealed else json.dumps(manifest, indent=1).encode()
    rewrite(path.with_suffix(".json"), content)


def failure_of(path: Path) -> str:
    with pytest.raises(VerificationFailed) as caught:
        list(verify_pack(path, render=render_pack))
    assert caught.value.exit_code == 18
    return str(caught.value)


def test_packs_of_all_sites_lie_in_the_archive(network_folder: Path) -> None:
    report = make_packs(network_folder, month=MONTH, render=render_pack)
    names = [path.relative_to(network_folder).as_posix() for path in report.made]
    assert names[0] == "packs/2026-10/S1/issue-1/S1-2026-10-1.pdf"
    assert len(names) == 6
    assert all(path.with_suffix(".json").exists() for path in report.made)


def test_the_same_snapshot_is_not_issued_again(network_folder: Path, pack_path: Path) -> None:
    before = pack_path.read_bytes()
    again = make_packs(network_folder, month=MONTH, site_id="S3", render=render_pack)
    assert (again.made, again.kept) == ((), (pack_path,))
    assert pack_path.read_bytes() == before


def test_another_snapshot_gets_the_next_number(
    network_folder: Path, pack_path: Path, published: SamplePublished
) -> None:
    before = pack_path.read_bytes()
    publish(network_folder, one_failed_exam_more(published, "S3", MONTH), at=LATER)
    again = make_packs(network_folder, month=MONTH, site_id="S3", render=render_pack)
    assert again.made[0].name == "S3-2026-10-2.pdf"
    assert pack_path.read_bytes() == before
    # The first issue is still checked against its own snapshot.
    assert list(verify_pack(pack_path, render=render_pack))
    assert list(verify_pack(again.made[0], render=render_pack))


def test_a_taken_number_is_refused_and_nothing_is_left(
    network_folder: Path, pack_path: Path
) -> None:
    with pytest.raises(PackError, match="PCK-003"):
        archive_pack(
            network_folder, month=MONTH, site_id="S3", number=1, pdf=b"other", manifest=b"{}"
        )
    folder = pack_path.parents[1]
    assert [path.name for path in folder.iterdir()] == ["issue-1"]
    assert pack_path.read_bytes().startswith(b"%PDF")


def test_a_half_written_issue_is_no_issue(network_folder: Path, pack_path: Path) -> None:
    unfinished = pack_path.parents[1] / ".unfinished-abc"
    unfinished.mkdir()
    (unfinished / "S3-2026-10-2.pdf").write_bytes(b"%PDF")
    assert [issue.number for issue in list_issues(network_folder, month=MONTH, site_id="S3")] == [1]


def test_archived_files_are_read_only(pack_path: Path) -> None:
    assert pack_path.stat().st_mode & 0o222 == 0
    assert pack_path.with_suffix(".json").stat().st_mode & 0o222 == 0


def test_fresh_pack_agrees(pack_path: Path) -> None:
    lines = list(verify_pack(pack_path, render=render_pack))
    assert lines[-1] == "S3-2026-10-1.pdf: the pack, its manifest and what it was made from agree."
    assert any("all equal" in line for line in lines)
    assert any("Every figure stands in the text" in line for line in lines)
    assert any("the same bytes" in line for line in lines)


def test_packs_of_steady_few_and_late_sites_agree(network_folder: Path) -> None:
    """Each kind of month prints other sections; every figure must stand in all of them."""
    for path in make_packs(network_folder, month=MONTH, render=render_pack).made:
        assert "agree" in list(verify_pack(path, render=render_pack))[-1]


def test_one_changed_byte_fails(pack_path: Path) -> None:
    content = bytearray(pack_path.read_bytes())
    content[len(content) // 2] ^= 1
    rewrite(pack_path, bytes(content))
    assert "the file's bytes were changed: SHA-256" in failure_of(pack_path)


def test_one_byte_after_the_end_fails(pack_path: Path) -> None:
    rewrite(pack_path, pack_path.read_bytes() + b"\n")
    assert "the file's bytes were changed" in failure_of(pack_path)


def test_edited_manifest_fails(pack_path: Path) -> None:
    def change(manifest: dict[str, Any]) -> None:
        manifest["number"] = 1.0 + 1e-9

    change_manifest(pack_path, change, is_resealed=False)
    assert "the manifest was changed: its content has SHA-256" in failure_of(pack_path)


def test_changed_figure_is_named_even_under_a_new_seal(pack_path: Path) -> None:
    def change(manifest: dict[str, Any]) -> None:
        figure = next(one for one in manifest["figures"] if one["name"] == "failed")
        figure.update(text="0.0 %", value=0.0)

    change_manifest(pack_path, change, is_resealed=True)
    message = failure_of(pack_path)
    assert "figure failed: text '0.0 %' stated, '0.6 %' computed" in message
    assert "manifest was changed" not in message


def test_missing_and_added_figures_are_named(pack_path: Path) -> None:
    def change(manifest: dict[str, Any]) -> None:
        manifest["figures"][1]["name"] = "n_judged_elsewhere"

    change_manifest(pack_path, change, is_resealed=True)
    message = failure_of(pack_path)
    assert "figure n_judged_elsewhere is stated but the snapshot gives none" in message
    assert "figure n_judged is missing from the manifest" in message


def test_changed_source_hash_fails(pack_path: Path) -> None:
    def change(manifest: dict[str, Any]) -> None:
        manifest["source_files"][0]["sha256"] = "0" * 64

    change_manifest(pack_path, change, is_resealed=True)
    assert "source files of the manifest differ from the snapshot's" in failure_of(pack_path)


def test_another_sites_pdf_under_matching_hashes_is_caught(
    pack_path: Path, published: SamplePublished
) -> None:
    """Bytes, hash and seal all agree with each other, but the pages say other figures."""
    other = render_pack(published, PackRequest(PackKind.SITE, "S1", MONTH), number=1)
    rewrite(pack_path, other.pdf)

    def change(manifest: dict[str, Any]) -> None:
        manifest["pdf_sha256"] = json.loads(other.manifest)["pdf_sha256"]

    change_manifest(pack_path, change, is_resealed=True)
    message = failure_of(pack_path)
    assert "is not printed in its place" in message
    assert "drawn again from the snapshot, the file has other bytes" in message


def test_pack_of_another_version_is_compared_by_figures(pack_path: Path) -> None:
    def change(manifest: dict[str, Any]) -> None:
        manifest["software_version"] = "0.0.1"

    change_manifest(pack_path, change, is_resealed=True)
    lines = list(verify_pack(pack_path, render=render_pack))
    assert any("Drawn by version 0.0.1" in line for line in lines)


def test_pack_still_agrees_after_rows_were_removed_on_request(
    network_folder: Path, pack_path: Path, published: SamplePublished
) -> None:
    """The pack lists exams of the person; its counts are those that were issued."""
    exams = published.frame("exams", site_id="S3", month=MONTH, outcome="failed")
    remove_everywhere(network_folder, exams["patient_key"][0])
    lines = list(verify_pack(pack_path, render=render_pack))
    assert any("on a lawful request (1 on 2026-11-06)" in line for line in lines)
    assert lines[-1].endswith("agree.")


def test_changed_figure_is_named_also_after_a_removal(
    network_folder: Path, pack_path: Path, published: SamplePublished
) -> None:
    exams = published.frame("exams", site_id="S3", month=MONTH, outcome="failed")
    remove_everywhere(network_folder, exams["patient_key"][0])

    def change(manifest: dict[str, Any]) -> None:
        next(one for one in manifest["figures"] if one["name"] == "failed").update(value=0.0)
        manifest["source_files"][0]["sha256"] = "0" * 64

    change_manifest(pack_path, change, is_resealed=True)
    message = failure_of(pack_path)
    assert "figure failed: value 0.0 stated" in message
    assert "source files of the manifest differ from the snapshot's" in message


def remove_everywhere(folder: Path, patient_key: str) -> None:
    at = datetime(2026, 11, 6, 8, 0, tzinfo=UTC)
    for path in (folder / "snapshots").glob("*.duckdb"):
        assert remove_from_snapshot(path, patient_key=patient_key, at=at)


def test_missing_manifest_snapshot_and_folder_are_said(pack_path: Path, tmp_path: Path) -> None:
    with pytest.raises(PackError, match=r"PCK-008.*cannot be read"):
        list(verify_pack(tmp_path / "none.pdf", render=render_pack))
    for snapshot in (tmp_path / "snapshots").glob("*.duckdb"):
        snapshot.unlink()
    with pytest.raises(SnapshotError, match="SNP-003"):
        list(verify_pack(pack_path, render=render_pack))
    (tmp_path / "network.toml").unlink()
    with pytest.raises(SnapshotError, match="VER-002"):
        list(verify_pack(pack_path, render=render_pack))
    pack_path.with_suffix(".json").unlink()
    with pytest.raises(PackError, match="PCK-005"):
        list(verify_pack(pack_path, render=render_pack))


def test_seal_notices_any_change() -> None:
    content = json.loads(seal({"a": 1, "b": "≥"}))
    assert is_sealed(content)
    assert not is_sealed({**content, "a": 2})
    assert not is_sealed({"a": 1, "b": "≥"})
