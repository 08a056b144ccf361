"""What was planted is found by the check that is made for it, under its right name.

Copier, gamer of the limit and repeats by the questions about data; a drifting phantom and an
update's bias by phantom checks; a site that is out by its round; pairs by the study of agreement.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from demo_sites.truth import Truth, read_truth
from qa.drift.agreement_study import agreement_parts, find_pairs
from qa.drift.device_effect import device_at_event, device_beside_others
from qa.drift.phantom_itself import find_phantom_moves
from qa.drift.round_scores import ScoreClass, performance
from qa.followup.rounds import Round
from qa.jobs.explain import explain_at_site
from qa.jobs.followup.demo_record import PROPOSER
from qa.jobs.followup.equipment import Equipment, EquipmentDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.followup.rounds import RoundDesk
from qa.model.months import add_months, parse_month
from qa.stores.settings import load_network
from qa.stores.snapshots import Snapshot, open_current
from qa.views.equipment import EquipmentView, equipment_view

NETWORKS = ("published_demo", "published_second")
CHECK_OF_KIND = {
    "copied_values": "INT-001",
    "written_to_fit": "INT-008",
    "repeats_until_reliable": "INT-010",
}


@dataclass(frozen=True)
class Found:
    """One published network with what it knows of its machines, and the truth."""

    folder: Path
    snapshot: Snapshot
    truth: Truth
    equipment: Equipment
    rounds: list[Round]
    devices: EquipmentView

    @property
    def asked(self) -> set[tuple[str, str]]:
        rows = self.snapshot.frame("integrity").filter(state="asked")
        return set(rows.select("check_id", "unit_id").iter_rows())

    @property
    def bias(self):
        return self.truth.of_kind("device_bias")[0]


@pytest.fixture(scope="module", params=NETWORKS)
def found(request: pytest.FixtureRequest) -> Found:
    folder: Path = request.getfixturevalue(request.param)
    snapshot, truth, network = open_current(folder), read_truth(folder), load_network(folder)
    last = add_months(parse_month(truth.facts["last_month"]), 1)
    at = datetime(last.year, last.month, 4, 7, tzinfo=UTC)
    store = open_record(folder, environ={})
    try:
        desk = EquipmentDesk(store, network, PROPOSER, at)
        known, rounds = desk.equipment(), RoundDesk(store, network, PROPOSER, at).rounds()
    finally:
        store.close()
    view = equipment_view(
        network=network,
        logs=known.logs,
        phantoms=known.phantoms,
        series=known.series,
        charts=known.charts,
        published=snapshot,
        rules=network.phantom_checks,
        on=at.date(),
    )
    return Found(folder, snapshot, truth, known, rounds, view)


def test_copier_and_gamer_are_asked_by_their_check_and_nobody_else_is(found: Found) -> None:
    planted = [event for event in found.truth.events if event.kind in CHECK_OF_KIND]
    assert {(CHECK_OF_KIND[event.kind], event.target) for event in planted} <= found.asked
    theirs = {name for event in planted for name in (event.target, event.site_id)}
    assert {unit for _, unit in found.asked} <= theirs


def test_gamer_has_next_to_no_wide_spread_in_the_truth(found: Found) -> None:
    for event in found.truth.of_kind("written_to_fit"):
        own = found.truth.exams.filter(operator_id=event.target, planted_event=event.id)
        assert set(own["outcome"]) == {"reliable"}
        assert event.realised["share_after"] < 0.25 * event.realised["share_before"]


def test_phantom_that_dries_out_is_named_and_no_other(found: Found) -> None:
    moves = find_phantom_moves(found.equipment.charts, least_share=0.025)
    assert [one.phantom_id for one in moves if one.is_phantom] == ["PH-STIFF"]
    assert any("PH-STIFF itself seems to move" in words for words in found.devices.moves)


def test_update_is_named_by_the_device(found: Found) -> None:
    """Planted 15 and 8 %: the phantom shows the size, the answer the device, patients the sign."""
    target, size = found.bias.target, found.bias.size
    assert found.devices.answer.startswith(target)
    waiting = next(one for one in found.devices.waiting if one.device_id == target)
    assert waiting.words.startswith("update of the device")
    assert waiting.n_exams > 200
    assert "does not agree" in dict(waiting.on_phantoms)["PH-SOFT"]
    points = found.equipment.charts[target, "standard", "PH-SOFT"].points
    shifts = [one.bias_share for one in points if one.session.day >= waiting.day]
    assert np.mean(shifts) == pytest.approx(size, abs=0.02)
    exams = found.snapshot.frame("exams", site_id=found.bias.site_id)
    effects = [
        device_at_event(exams, device_id=target, event_on=waiting.day),
        device_beside_others(exams, device_id=target, until=found.snapshot.published_at.date()),
    ]
    told = [one for one in effects if one.ratio is not None]
    assert all(one.is_seen and one.lower <= 1 + size <= one.upper for one in told), told


def test_site_out_in_a_round_is_named(found: Found) -> None:
    closed = next(one for one in found.rounds if "Spring" in one.plan.title)
    planted = {closed.plan.participants[3]}
    scores = {one.result.participant: one.verdict for one in closed.scores.scores}
    out = {name for name, verdict in scores.items() if verdict is ScoreClass.ACTION}
    assert planted <= out <= planted | {found.bias.target}
    assert scores[found.bias.target] is not ScoreClass.ACCEPTABLE


def test_lasting_bias_over_rounds_is_named(found: Found) -> None:
    """Planted: the same site 8 % high in the round before, and the biased device in its rounds."""
    closed = [one for one in found.rounds if one.is_closed]
    assert len(closed) == 2
    lines = performance([one.scores for one in closed])
    biased = {one.participant for one in lines if one.is_biased}
    planted = {closed[1].plan.participants[3]}
    assert planted <= biased <= planted | {found.bias.target}


def test_pairs_in_routine_data_are_found_and_agree_as_published(found: Found) -> None:
    """Planted scatter 11 % of one exam; published 11.1 % (Serra et al., Hepat Med 2020, read)."""
    pairs = find_pairs(found.snapshot.frame("exams"))
    planted = found.truth.counting.filter("is_second")
    assert planted.height > 100
    assert pairs.height == pytest.approx(planted.height, rel=0.12)
    whole, low, high = agreement_parts(pairs["first_kpa"], pairs["second_kpa"])
    assert whole.cv == pytest.approx(0.111, abs=0.02)
    assert abs(whole.differences.mean) < 2 * whole.differences.se_mean + 0.1
    assert low.icc[0].value < high.icc[0].value  # as Boursier 2008: 0.49 below 9 kPa, 0.87 above


def test_new_referral_path_is_laid_at_no_operator(found: Found) -> None:
    for event in found.truth.of_kind("grade_mix_referral"):
        for ahead in (4, 5, 6):
            month = add_months(event.start_month, ahead)
            view = explain_at_site(
                found.folder, site=event.site_id, measure="stiffness_raised", month=month
            )
            assert "operator" not in view.answer.replace("operators", ""), view.answer


def test_phantoms_of_the_demo_scatter_as_published(found: Found) -> None:
    """Intra-machine CV 1.2 % at 7.0 kPa and 3.2 % at 23.3 kPa (survey manual, domain notes 6.2)."""
    for phantom, published in (("PH-SOFT", 0.012), ("PH-STIFF", 0.032)):
        spreads = [
            point.session.sd / point.session.mean
            for key, chart in found.equipment.charts.items()
            for point in chart.points
            if key[2] == phantom
        ]
        assert np.sqrt(np.mean(np.square(spreads))) == pytest.approx(published, rel=0.15)


def test_exams_between_update_and_sign_off_are_marked(found: Found) -> None:
    events = found.snapshot.frame("equipment_events").filter(device_id=found.bias.target)
    assert events["signed_on"].null_count() == 1
    assert events.filter(pl.col("signed_on").is_null())["event_on"].item() == found.bias.start_month
