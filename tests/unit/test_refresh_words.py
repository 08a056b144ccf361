"""elastoqa refresh says what chance alone puts on the list, beside what is on it."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from qa.charts.budget import MonthList
from qa.cli.refresh import refresh
from qa.jobs import refresh as job


def test_refresh_says_what_chance_alone_gives(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    report = job.RefreshReport(
        months=(date(2026, 10, 1),),
        n_exams=1200,
        n_new_baselines=3,
        newest=MonthList(date(2026, 10, 1), n_items=13, n_new=2, n_charts=456, n_expected=1.0),
        snapshot_id="S1",
        is_new_snapshot=True,
    )
    monkeypatch.setattr(job, "run_refresh", lambda *_, **__: report)
    assert refresh(Path("anywhere"), at=datetime(2026, 11, 4, tzinfo=UTC), environ={}) == 0
    assert capsys.readouterr().out.splitlines() == [
        "1,200 exams judged in 1 months; 3 baselines frozen; published S1.",
        "On the list of October 2026: 13, of which 2 new. By chance alone about 1.0 new a month "
        "are expected over 456 charts.",
    ]
