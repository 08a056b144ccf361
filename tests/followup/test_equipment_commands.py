"""elastoqa devices and elastoqa phantom, as typed."""

from pathlib import Path

import pytest

from qa.cli import main
from tests.followup.notes import NETWORK_TEXT
from tests.followup.test_equipment import DEVICES, HEAD


@pytest.fixture
def run(network_folder: Path, capsys: pytest.CaptureFixture[str]):
    (network_folder / "network.toml").write_text(NETWORK_TEXT + DEVICES, encoding="utf-8")

    def typed(*arguments: str, code: int = 0) -> str:
        assert main([*arguments, "--network", str(network_folder)], {}) == code
        said = capsys.readouterr()
        return said.err if code else said.out

    return typed


def test_way_from_phantom_to_sign_off(run, tmp_path: Path) -> None:
    told = ("--value", "10", "--expanded", "0.3", "--certificate", "INV-1")
    days = ("--issued", "2025-01-01", "--expires", "2099-01-01")
    assert "registered until" in run("phantom", "register", "PH-1", *told, *days)
    run("devices", "enter", "dev-1", "in service", "--on", "2025-01-05", "--to", "1.0")
    file = tmp_path / "checks.csv"
    rows = (
        f"2025-{m:02}-03,dev-1,standard,PH-1,kPa,9.9,10.0,{10 + m / 50}\n" for m in range(1, 12)
    )
    file.write_text(HEAD + "".join(rows), encoding="utf-8")
    assert run("phantom", "read", str(file)) == "checks.csv: 11 checks are kept.\n"
    run("devices", "enter", "dev-1", "update", "--on", "2025-12-01", "--to", "2.0")
    check = ("--probe", "standard", "--phantom", "PH-1", "--on", "2025-12-02")
    said = run("phantom", "check", "dev-1", *check, "--values", "10.7", "10.7", "10.8")
    assert "acceptance run" in said
    assert "waits for a sign-off" in run("devices", "list")
    run("devices", "sign-off", "dev-1", "2", "--on", "2025-12-03", "--words", "New level")
    shown = run("devices", "show", "dev-1")
    assert "does not agree" in shown
    assert "signed off 2025-12-03" in shown
    assert "days overdue" in run("phantom", "list")
    back = ("--probe", "standard", "--phantom", "PH-1", "--entry", "12", "--why", "wrong gel")
    assert "counts no more" in run("phantom", "take-back", "dev-1", *back)
    assert "next certificate" in run("phantom", "register", "PH-1", *told, *days)
    assert "out of use" in run("phantom", "retire", "PH-1", "--why", "dried out")


def test_refusals_are_one_line(run, tmp_path: Path) -> None:
    check = ("--probe", "standard", "--phantom", "PH-1", "--on", "2025-12-02")
    said = run("phantom", "check", "dev-1", *check, "--values", "1", "2", "3", code=24)
    assert said.startswith("elastoqa: [EQP-020] check of dev-1: phantom 'PH-1' is not registered.")
    assert run("phantom", "read", str(tmp_path / "none.csv"), code=2).count("\n") == 1
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x00")
    assert "[EQP-030]" in run("phantom", "read", str(tmp_path / "bytes.csv"), code=24)
    assert "[FUP-014]" in run("devices", "show", "dev-1", code=24)
    assert run("devices", "list") == (
        "dev-1 (north): not in the register\ndev-2 (south): not in the register\n"
    )
