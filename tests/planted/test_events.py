"""Every planted event can be seen in the truth, by counting its exams anew."""

import math
from pathlib import Path

import polars as pl
import pytest

from demo_sites.event_kinds import EVENT_KINDS
from demo_sites.scenario_reader import read_scenario
from demo_sites.truth import PlantedEvent
from tests.planted.conftest import Demo
from tests.planted.reading import operator_drifts

SHARE_KINDS = ("technique_drift", "fasting_lapse", "repeats_until_reliable", "copied_values")


def event_of(demo: Demo, kind: str) -> PlantedEvent:
    return demo.truth.of_kind(kind)[0]


def exams_of(demo: Demo, event: PlantedEvent) -> tuple[pl.DataFrame, pl.DataFrame]:
    """(before, within) of an event's target, started exams only."""
    exams = demo.truth.exams.filter(pl.col("performed") == "performed")
    column = "device_id" if event.target.startswith("dev-") else "operator_id"
    column = "site_id" if event.target == event.site_id else column
    own = exams.filter(pl.col(column) == event.target)
    within = pl.col("month").is_between(event.start_month, event.end_month)
    return own.filter(pl.col("month") < event.start_month), own.filter(within)


def share(frame: pl.DataFrame, what: pl.Expr) -> float:
    return float(frame.select(what.mean()).item())


def test_the_two_scenarios_plant_every_kind(demo: Demo) -> None:
    second = {event.kind for event in read_scenario(Path("second")).events}
    assert {event.kind for event in demo.truth.events} | second == set(EVENT_KINDS)


def test_default_scenario_plants_drifts_that_can_be_found(demo: Demo) -> None:
    """At least three drifts of 10 points or more, after a year, 25 to 45 exams a month."""
    drifts = operator_drifts(demo.truth)
    assert len(drifts) >= 3
    assert len({event.size for event in drifts}) >= 3
    for event in drifts:
        before, within = exams_of(demo, event)
        assert before["month"].n_unique() >= 12
        assert 25 <= demo.truth.exams.filter(operator_id=event.target).height / 36 <= 45
        assert within.height > 0
    early = [event for event in drifts if event.realised["n_months"] >= 6]
    assert len(early) > len(drifts) / 2


@pytest.mark.parametrize("kind", SHARE_KINDS)
def test_realised_share_rises_by_the_planted_size(demo: Demo, kind: str) -> None:
    """Within four standard errors of a binomial share (ramped events may reach less)."""
    for event in demo.truth.of_kind(kind):
        seen, size = event.realised, float(event.size or 0.0)
        rise = seen["share_after"] - seen["share_before"]
        p = seen["share_before"] + size
        error = math.sqrt(p * (1 - p) * (1 / seen["n_after"] + 1 / seen["n_before"]))
        assert 0.75 * size - 4 * error < rise < 1.6 * size + 4 * error, event.id
        assert rise > 0.5 * size, event.id


def test_realised_drift_counts_are_those_of_the_exam_table(demo: Demo) -> None:
    event = next(e for e in demo.truth.events if e.id == "drift-bracken")
    _, within = exams_of(demo, event)
    counts = within["outcome"].value_counts()
    found = {row["outcome"]: row["count"] for row in counts.iter_rows(named=True)}
    assert event.realised["n_events_after"] == found["unreliable"]
    assert event.realised["n_after"] == found["unreliable"] + found["reliable"]


def test_learning_curve_begins_high_and_falls(demo: Demo) -> None:
    event = event_of(demo, "learning_curve")
    before, within = exams_of(demo, event)
    assert before.is_empty()
    measured = within.filter(pl.col("outcome").is_in(["reliable", "unreliable"])).sort("exam_at")
    wide = pl.col("outcome") == "unreliable"
    assert share(measured.head(100), wide) > share(measured.tail(200), wide) + 0.05


def test_device_bias_moves_stiffness_by_its_size(demo: Demo) -> None:
    event = event_of(demo, "device_bias")
    before, within = exams_of(demo, event)
    factor = within["stiffness_kpa"].log().mean() - before["stiffness_kpa"].log().mean()
    assert math.exp(factor) == pytest.approx(1 + (event.size or 0), abs=0.06)


def test_bariatric_referral_changes_patients_and_not_skill(demo: Demo) -> None:
    event = event_of(demo, "referral_bariatric")
    before, within = exams_of(demo, event)
    heavy = pl.col("bmi_kg_m2") >= 35
    assert share(within, heavy) > share(before, heavy) + 0.10
    wide = pl.col("outcome") == "unreliable"
    others = pl.col("planted_stream").is_null() & (pl.col("bmi_kg_m2") < 30)
    assert share(within.filter(others), wide) == pytest.approx(
        share(before.filter(others), wide), abs=0.02
    )


def test_new_referral_path_moves_grades_and_not_reliability(demo: Demo) -> None:
    event = event_of(demo, "grade_mix_referral")
    before, within = exams_of(demo, event)
    assert share(within, pl.col("stiffness_kpa") >= 7.1) > 0.05 + share(
        before, pl.col("stiffness_kpa") >= 7.1
    )
    reliable = pl.col("outcome") == "reliable"
    assert share(within, reliable) == pytest.approx(share(before, reliable), abs=0.025)


def test_copied_exams_equal_the_one_before(demo: Demo) -> None:
    event = event_of(demo, "copied_values")
    figures = ["stiffness_value", "stiffness_iqr", "attenuation_value", "attenuation_iqr"]
    own = (
        demo.truth.exams.filter(
            (pl.col("operator_id") == event.target)
            & (pl.col("technique") == "TE")
            & (pl.col("outcome") == "reliable")
        )
        .sort("exam_at", maintain_order=True)
        .with_columns(
            pl.all_horizontal(pl.col(name) == pl.col(name).shift(1) for name in figures).alias(
                "same"
            )
        )
    )
    assert own.filter("is_copied")["same"].all()
    assert own.filter(pl.col("month") < event.start_month)["same"].sum() == 0


def test_wrong_probe_keeps_the_standard_probe(demo: Demo) -> None:
    event = event_of(demo, "wrong_probe")
    before, within = exams_of(demo, event)
    assert before["is_misfit"].sum() == 0
    assert share(within.filter(pl.col("technique") == "TE"), pl.col("is_misfit")) > 0.08
    poor = pl.col("outcome") != "reliable"
    assert share(within.filter("is_misfit"), poor) > 2 * share(
        within.filter(~pl.col("is_misfit")), poor
    )


def test_late_site_has_not_sent_its_last_month(demo: Demo) -> None:
    event = event_of(demo, "late_site")
    late = demo.truth.exams.filter(site_id=event.target, month=event.start_month)
    assert late.height > 0
    assert not late["is_sent"].any()
    name = f"incoming/{event.target}/{event.target}_{event.start_month:%Y-%m}.csv"
    assert not (demo.folder / name).exists()
    assert demo.truth.exams.filter(~pl.col("is_sent")).height == late.height


def test_repeats_until_reliable_are_on_the_same_day(demo: Demo) -> None:
    event = event_of(demo, "repeats_until_reliable")
    _, within = exams_of(demo, event)
    days = within.group_by("patient_no", "exam_on").agg(pl.len(), pl.col("outcome").last())
    again = days.filter(pl.col("len") > 1)
    assert again["len"].max() <= 4
    assert share(again, pl.col("outcome") == "reliable") > 0.95
