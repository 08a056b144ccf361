"""elastoqa documents preview on a real warehouse: counts by hand from the files, nothing kept."""

import csv
import hashlib
import json
from decimal import Decimal
from pathlib import Path

import pytest

from qa.cli import main
from tests.robust.network import SITES


def by_hand(folder: Path) -> dict[str, list[int]]:
    """Site → exams with IQR/median under 30 %, of exactly 30 %, and all, from the files' cells."""
    found = {site: [0, 0, 0] for site in SITES}
    for path in (folder / "incoming").rglob("*.csv"):
        for row in csv.reader(path.read_text(encoding="utf-8").splitlines()[1:]):
            stiffness, iqr = Decimal(row[11]), Decimal(row[12])
            place = 0 if iqr < stiffness * Decimal("0.3") else 1
            if iqr <= stiffness * Decimal("0.3"):
                found[path.parent.name][place] += 1
            found[path.parent.name][2] += 1
    return found


def test_preview_counts_exactly_the_exams_on_the_limit(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """classic.v1 passes exactly 30 %, common-practice.v1 does not; attempts pass in all rows."""
    before = hashlib.sha256((folder / "warehouse.duckdb").read_bytes()).hexdigest()
    words = ("documents", "preview", "classic.v1", "--network", str(folder))
    assert main([*words, "--json"], {}) == 0
    network, *sites = json.loads(capsys.readouterr().out)["rows"]
    expected = by_hand(folder)
    assert sum(on for _, on, _ in expected.values()) > 0
    for site in sites:
        under, on, n = expected[site["unit_id"]]
        assert (site["before"]["n_events"], site["before"]["n"]) == (under, n)
        assert (site["after"]["n_events"], site["n_changed"]) == (under + on, on)
    assert network["n_changed"] == sum(on for _, on, _ in expected.values())
    assert main([*words], {}) == 0
    assert f"  {network['n_changed']} from unreliable to reliable" in capsys.readouterr().out
    assert hashlib.sha256((folder / "warehouse.duckdb").read_bytes()).hexdigest() == before


@pytest.mark.parametrize("words", [(), ("classic.v1", "--file", "x.toml")])
def test_preview_wants_one_set(folder: Path, capsys, words: tuple[str, ...]) -> None:
    assert main(["documents", "preview", *words, "--network", str(folder)], {}) == 2
    assert "[USE-052]" in capsys.readouterr().err
