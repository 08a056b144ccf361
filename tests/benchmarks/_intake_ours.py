"""One run of the whole intake job in a process of its own: python -m … FOLDER → JSON."""

import sys
from datetime import UTC, datetime
from pathlib import Path

from qa.jobs.intake import run_intake
from tests.benchmarks._measured import tell

KEY = b"0123456789abcdef0123456789abcdef"


def main(folder: Path) -> None:
    report = run_intake(folder, key=KEY, known_at=datetime(2026, 11, 4, 7, 0, tzinfo=UTC))
    if not report.is_clean:
        raise SystemExit(f"rows wait: {report.waiting}; refused: {report.problems[:3]}")
    tell(n_rows=report.n_accepted)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
