"""elastoqa trail, as typed."""

import json
from pathlib import Path

import pytest
import sqlalchemy as sa

from qa.cli import main
from qa.jobs.followup.opening import open_record
from tests.followup.notes import AT, keep


@pytest.fixture
def folder(network_folder: Path) -> Path:
    store = open_record(network_folder, environ={})
    keep(store, "n1", "first")
    keep(store, "n1", "second", by="lena", at=AT.replace(year=2015))
    keep(store, "n2", "<script>alert(1)</script>", at=AT.replace(year=2015))
    store.close()
    return network_folder


def run(folder: Path, *arguments: str) -> int:
    return main(["trail", *arguments, "--network", str(folder)], {})


def test_list_shows_before_and_after(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(folder, "list", "--id", "n1", "--since", "2015-01-01", "--until", "2016-01-01") == 0
    assert capsys.readouterr().out.splitlines() == [
        "      2  2015-11-04T09:30:00  lena  note n1: changed",
        "         - Words: first",
        "         + Words: second",
    ]
    assert run(folder, "list", "--json", "--by", "lena") == 0
    assert [row["no"] for row in json.loads(capsys.readouterr().out)] == [2]


def test_verify_says_which_row(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    heads = str(tmp_path / "heads")
    assert run(folder, "head", "--out", heads) == 0
    assert run(folder, "verify", "--heads", heads) == 0
    assert "1 hashes kept outside agree" in capsys.readouterr().out
    engine = sa.create_engine(f"sqlite:///{folder / 'followup.sqlite'}")
    with engine.begin() as connection:
        connection.execute(sa.text("DROP TRIGGER trail_keeps_content"))
        connection.execute(sa.text("UPDATE trail SET recorded_by = 'x' WHERE entry_no = 2"))
    engine.dispose()
    assert run(folder, "verify") == 25
    told = capsys.readouterr()
    assert "Row 2 was altered" in told.out
    assert "[TRL-001]" in told.err


def test_expire_first_says_and_then_does(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with (folder / "network.toml").open("a", encoding="utf-8") as file:
        file.write("[retention_years]\nnote = 6\n")
    assert run(folder, "expire") == 0
    assert "content of 1 lines and 1 records" in capsys.readouterr().out
    assert run(folder, "expire", "--apply") == 0
    assert run(folder, "list", "--last", "2") == 0
    assert "      3  2015-11-04T09:30:00  note: content expired" in capsys.readouterr().out
    assert run(folder, "verify") == 0
    assert "1 expired" in capsys.readouterr().out


def test_head_without_a_file_is_wrong_use(folder: Path) -> None:
    assert run(folder, "head") == 2
