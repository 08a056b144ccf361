"""A pack of an earlier version of the program, with its manifest of format 1, is still verified.

tests/packs/earlier holds both files as that version issued them for the sample network. They are
never made anew: whoever changes the sample changes what the pack is held against.
"""

import json
import shutil
from pathlib import Path

import pytest

from qa.jobs.verify import verify_pack
from qa.jobs.verify_figures import compare_older_version
from qa.model.errors import VerificationFailed
from qa.model.sealed import seal
from reports.pack import render_pack

EARLIER = Path(__file__).parent / "earlier"
NAME = "S3-2026-10-1"


@pytest.fixture
def earlier(network_folder: Path) -> Path:
    """The pack in its archive, and the sample's snapshot under the id that the pack names."""
    place = network_folder / "packs" / "2026-10" / "S3" / "issue-1"
    shutil.copytree(EARLIER, place)
    manifest = json.loads((place / f"{NAME}.json").read_text(encoding="utf-8"))
    assert manifest["format_version"] == 1
    (snapshot,) = (network_folder / "snapshots").glob("S*.duckdb")
    snapshot.rename(snapshot.with_name(f"{manifest['snapshot_id']}.duckdb"))
    return place / f"{NAME}.pdf"


def test_a_pack_of_format_1_is_verified(earlier: Path) -> None:
    lines = list(verify_pack(earlier, render=render_pack))
    assert any("(manifest format 1)" in one and "not drawn again" in one for one in lines)
    assert any("figures computed again from snapshot" in one for one in lines)
    assert "Every figure stands in the text of the PDF, in its order." in lines
    assert lines[-1].endswith("agree.")


def test_a_figure_of_format_1_that_was_changed_is_named(earlier: Path) -> None:
    path = earlier.with_suffix(".json")
    manifest = json.loads(path.read_text(encoding="utf-8"))
    figure = next(one for one in manifest["figures"] if one["name"] == "failed")
    figure["value"] = 0.0
    path.write_bytes(seal(manifest))
    with pytest.raises(VerificationFailed, match=r"figure failed: value 0.0 stated"):
        list(verify_pack(earlier, render=render_pack))


def one(
    name: str, text: str, value: float | None = None, n: int | None = None
) -> dict[str, object]:
    return {"name": name, "text": text, "interval": "", "value": value, "n": n}


@pytest.mark.parametrize(
    ("old", "new", "problems", "reworded", "gone"),
    [
        (one("a", "5.1 %", 0.051, 98), one("a", "5.1 %", 0.051, 98), 0, (), ()),
        (one("a", "5.1 %", 0.051, 98), one("a", "5.1 per cent", 0.051, 98), 0, ("a",), ()),
        (one("a", "5.1 %", 0.051, 98), one("a", "5.1 %", 0.051, 99), 1, (), ()),
        (one("a", "5.1 %", 0.051, 98), one("a", "5.1 %", 0.052, 98), 1, (), ()),
        (one("a", "7 of 98 failed."), one("a", "Failed: 7 of 98"), 0, ("a",), ()),
        (one("a", "7 of 98 failed."), one("a", "8 of 98 failed."), 1, (), ()),
        (one("a", "gone"), one("b", "new"), 0, (), ("a",)),
    ],
)
def test_of_older_versions_numbers_are_compared_and_words_are_not(
    old: dict[str, object],
    new: dict[str, object],
    problems: int,
    reworded: tuple[str, ...],
    gone: tuple[str, ...],
) -> None:
    found = compare_older_version({"figures": [old]}, {"figures": [new]})
    assert (len(found.problems), found.reworded, found.not_compared) == (problems, reworded, gone)
