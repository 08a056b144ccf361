"""Charts exam by exam on a small snapshot with a model: what is counted and what is said."""

from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from qa.case_mix.cells import count_case_mix
from qa.jobs.adjusting import find_expected
from qa.model.schemas import BASELINES, CHART_POINTS, MONTHLY_COUNTS
from qa.stores.snapshots import JUDGED_EXAMS
from qa.stores.warehouse import open_warehouse
from qa.views.apart import operator_apart_text, site_apart_text
from qa.views.drawn import drawn_view
from qa.views.drawn_choice import DrawChoice
from tests.exam_tables import definitions
from tests.jobs.test_adjusting import AT, MONTHS, NETWORK, count, made_up_exams, send
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import SamplePublished, empty_published, sample_published


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> SamplePublished:
    """Three months; the first two are the site's baseline and the model's."""
    with open_warehouse(_path(tmp_path_factory), create=True) as warehouse:
        for number, month in enumerate(MONTHS[:3]):
            send(warehouse, made_up_exams(month, 200, seed=number), f"{month}")
        count(warehouse, MONTHS[:3])
        assessments = warehouse.assessments()
        exams = warehouse.current_exams().join(assessments, on=["exam_key", "version_no"])
        fair = find_expected(
            warehouse,
            assessments,
            warehouse.case_mix_counts(),
            NETWORK,
            definitions(),
            at=AT,
            by="t",
        )
        assert count_case_mix(warehouse.current_exams(), assessments).equals(
            warehouse.case_mix_counts()
        )
    found = SamplePublished(empty_published().frames, network=NETWORK, definitions=definitions())
    for name, rows in (fair.frames | {"exams": JUDGED_EXAMS.conform(exams)}).items():
        found = SamplePublished(
            found.with_frame(name, rows).frames, network=NETWORK, definitions=definitions()
        )
    return SamplePublished(
        found.frames | _baseline_and_points(exams), network=NETWORK, definitions=definitions()
    )


def _path(factory: pytest.TempPathFactory) -> Path:
    return factory.mktemp("drawn") / "warehouse.duckdb"


def _baseline_and_points(exams: pl.DataFrame) -> dict[str, pl.DataFrame]:
    base = exams.filter(pl.col("month") <= MONTHS[1])
    events = base.filter(outcome="unreliable").height
    series = {
        "unit_kind": "site",
        "unit_id": "north",
        "site_id": "north",
        "measure_id": "MSR-001",
        "criteria_id": "common-practice.v1",
        "baseline_id": "b",
    }
    facts = {"from_month": MONTHS[0], "to_month": MONTHS[1], "n_months": 2, "set_at": AT}
    sums = {"n_events": events, "n": base.height, "centre": events / base.height}
    words = {"set_by": "test", "reason": "test"}
    point = {
        "month": MONTHS[2],
        "n_events": 0,
        "n": 1,
        "model_id": "MSR-001.common-practice.v1.M1",
        "chart_kind": "p",
        "baseline_from": "own",
        "phase": "monitoring",
        "limit_method": "none",
        "rules": [],
        "state": "steady",
    }
    return {
        "baselines": BASELINES.conform(pl.DataFrame([series | facts | sums | words])),
        "chart_points": CHART_POINTS.conform(pl.DataFrame([series | point])),
    }


def drawn(published: SamplePublished, kind: str):
    return drawn_view(
        published,
        unit_kind="site",
        unit_id="north",
        series_id="MSR-001",
        choice=DrawChoice(kind),
        last_month=MONTHS[2],
    )


def test_vlad_ends_at_expected_minus_found_of_the_months_after_the_baseline(published) -> None:
    view = drawn(published, "vlad")
    third = published.frame("exams", month=MONTHS[2])
    found = third.filter(outcome="unreliable").height
    expected = published.frame("expected_counts", measure_id="MSR-001", month=MONTHS[2])
    total = expected["expected_micro"].sum() / 1e6
    assert view.points[-1].day == date(2026, 3, 1)
    # The model is the baseline's own, so its level is that of the site's baseline.
    assert view.points[-1].value == pytest.approx(total - found, abs=0.01)
    assert f"{found} found, {total:.1f} expected" in view.reason


def test_risk_adjusted_cusum_has_limits_on_both_sides(published) -> None:
    [point] = drawn(published, "ra-cusum").points
    assert point.lcl is not None
    assert point.ucl is not None
    assert point.lcl < point.second <= 0 <= point.value < point.ucl
    assert np.isfinite([point.value, point.second]).all()


def test_operators_of_one_site_are_compared_within_it(published) -> None:
    """Three operators take turns with the same patients; nothing sets one apart but chance."""
    text = operator_apart_text(
        published,
        operator_id="op-1",
        measure=definitions().measures["MSR-001"],
        month=MONTHS[2],
    )
    rows = published.frame("expected_counts", measure_id="MSR-001")
    own = rows.filter(operator_id="op-1")
    assert f"{own['n_events'].sum()} found, {own['expected_micro'].sum() / 1e6:.1f} exp" in text
    assert text.endswith("Patients and place allowed for, that is no more than chance.")


def test_a_site_of_one_person_says_that_nothing_can_be_told_apart() -> None:
    published = sample_published()
    counts = published.frame("monthly_counts", site_id="S1")
    one = counts.with_columns(operator_id=pl.lit(counts["operator_id"][0]))
    lone = published.with_frame(
        "monthly_counts", one.unique(list(MONTHLY_COUNTS.key), maintain_order=True)
    )
    assert "person and place cannot be told apart" in site_apart_text(
        lone, site_id="S1", month=LAST
    )
    assert site_apart_text(published, site_id="S1", month=LAST) == ""
