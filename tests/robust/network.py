"""An invented network whose files of many rows are killed, cut off and crowded out.

The network is that of tests/bad_exports; its rows are made here, each exam once.
"""

import os
import random
import shutil
import sys
from pathlib import Path

BLUEPRINT = Path(__file__).parent.parent / "bad_exports"
ROOT = Path(__file__).parent.parent.parent
HEADINGS = (BLUEPRINT / "headings_only.csv").read_text(encoding="utf-8").strip()
SITES = ("harbour", "lantern")
KEY = "0f" * 32
ENVIRON = {**os.environ, "ELASTOQA_PSEUDONYM_KEY": KEY, "PYTHONPATH": str(ROOT)}


def make_network(folder: Path, *, n_files: int, n_rows: int) -> Path:
    """A network folder with this many files of this many rows; files already there are kept."""
    if not folder.exists():
        shutil.copytree(BLUEPRINT / "network", folder)
    for number in range(n_files):
        site = SITES[number % len(SITES)]
        path = folder / "incoming" / site / f"{site}_{number:04}.csv"
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            path.write_text(file_text(number, n_rows), encoding="utf-8")
    return folder


def file_text(number: int, n_rows: int) -> str:
    chance = random.Random(number)
    return "\n".join([HEADINGS, *(_line(number, row, chance) for row in range(n_rows))]) + "\n"


def _line(number: int, row: int, chance: random.Random) -> str:
    stiffness, share = chance.randint(30, 200) / 10, chance.randint(5, 45)
    iqr = round(stiffness * share / 100, 2)
    values = (
        f"E-{number}-{row}", 90_000_000 + number * 10_000 + row, "Quillfeather Zebulon",
        f"2026-{1 + number % 9:02}-{1 + row % 28:02} {8 + row % 9:02}:{row % 60:02}",
        "A", "D1", "TE", "S", "yes", 12, 10, stiffness, iqr, "kPa",
        round(100 * iqr / stiffness), chance.randint(150, 380), chance.randint(5, 30), "dB/m", 3,
        chance.randint(20, 85), chance.choice("FM"),
    )  # fmt: skip
    return ",".join(map(str, values))


def n_rows_sent(folder: Path) -> int:
    """Rows under the headings of all files that were sent."""
    return sum(
        len(path.read_text(encoding="utf-8").splitlines()) - 1
        for path in (folder / "incoming").rglob("*.csv")
    )


def command(folder: Path, *words: str) -> list[str]:
    """The command line of a child process; a restore has no network yet."""
    where = [] if words[0] == "restore" else ["--network", str(folder)]
    return [sys.executable, "-m", "qa", words[0], *where, *words[1:]]
