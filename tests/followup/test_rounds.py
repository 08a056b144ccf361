"""Rounds: planned, reported, closed; what is refused; and the commands as typed."""

from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from qa.cli import main
from qa.followup.phantoms import CertificateForm
from qa.followup.rounds import RoundPlan
from qa.jobs.followup.equipment import EquipmentDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.followup.rounds import RoundDesk
from qa.model.errors import AccessRefused, FollowupError
from qa.model.parsing import parse_network
from qa.stores.followup.store import FollowupStore
from qa.views.studies import study_views
from tests.followup.notes import ADMINISTRATOR, AT, LEAD, MANAGER, NETWORK_TEXT, REVIEWER

DEVICES = "".join(
    f'[[devices]]\nid = "d{n}"\nsite = "{"north" if n < 5 else "south"}"\ncode = "C{n}"\n'
    'techniques = ["TE"]\n'
    for n in range(1, 10)
)
NETWORK = parse_network(NETWORK_TEXT + DEVICES, where="network.toml")
ALL = tuple(f"d{n}" for n in range(1, 10))
PLAN = RoundPlan(
    title="Autumn round (invented)",
    item="phantom",
    quantity="stiffness",
    phantom_id="PH-1",
    participants=ALL,
    opens_on=date(2026, 9, 1),
    closes_on=date(2026, 10, 31),
    assigned_by="certificate",
    sigma=0.25,
)
RESULTS = (5.0, 5.1, 4.9, 5.05, 4.95, 5.0, 5.1, 4.9, 6.0)


def refused(code: str):
    return pytest.raises(FollowupError, match=rf"\[{code}\]")


@pytest.fixture
def desk(store: FollowupStore) -> RoundDesk:
    EquipmentDesk(store, NETWORK, MANAGER, AT).register_phantom(
        "PH-1",
        name="Gel (invented)",
        quantity="stiffness",
        site_id="",
        certificate=CertificateForm("INV-1", 5.0, 0.1, date(2026, 1, 1), date(2027, 1, 1)),
    )
    return RoundDesk(store, NETWORK, MANAGER, AT)


def report(desk: RoundDesk, round_id: str, device: str, value: float, u: float | None = 0.05):
    return desk.report(round_id, participant=device, value=value, uncertainty=u, n=10)


def test_site_that_is_out_gets_action_and_the_others_do_not(desk: RoundDesk) -> None:
    one = desk.plan(PLAN)
    for device, value in zip(ALL, RESULTS, strict=True):
        report(desk, one.round_id, device, value)
    closed = desk.close(one.round_id, words="Service is called")
    verdicts = {row.result.participant: row.verdict for row in closed.scores.scores}
    assert {key for key, verdict in verdicts.items() if verdict == "action"} == {"d9"}
    assert {verdict for key, verdict in verdicts.items() if key != "d9"} == {"acceptable"}
    with refused("RND-003"):
        report(desk, one.round_id, "d1", 5.0)
    consensus = desk.plan(replace(PLAN, assigned_by="robust consensus"))
    for device, value in zip(ALL, RESULTS, strict=True):
        report(desk, consensus.round_id, device, value, None)
    assigned = desk.round(consensus.round_id).scores.assigned
    assert assigned.value == pytest.approx(5.0, abs=0.1)
    assert not assigned.is_weak


@pytest.mark.parametrize(
    ("plan", "code"),
    [
        (replace(PLAN, participants=ALL[:3], assigned_by="robust consensus"), "RND-002"),
        (replace(PLAN, phantom_id=""), "RND-001"),
        (replace(PLAN, phantom_id="PH-9"), "FUP-014"),
        (replace(PLAN, participants=("d77",)), "RND-001"),
        (replace(PLAN, participants=()), "RND-001"),
        (replace(PLAN, item="horse"), "RND-001"),
        (replace(PLAN, sigma=0.0), "RND-001"),
        (replace(PLAN, closes_on=date(2026, 8, 1)), "RND-001"),
        (replace(PLAN, closes_on=date(2027, 2, 1)), "RND-001"),
    ],
)
def test_plan_that_cannot_work_leaves_nothing(desk: RoundDesk, plan, code) -> None:
    with refused(code):
        desk.plan(plan)
    assert desk.rounds() == []


def test_round_of_three_results_cannot_be_closed_by_consensus(desk: RoundDesk) -> None:
    one = desk.plan(replace(PLAN, assigned_by="robust consensus"))
    for device in ALL[:3]:
        report(desk, one.round_id, device, 5.0)
    with refused("RND-005"):
        desk.close(one.round_id)
    assert desk.round(one.round_id).missing == ALL[3:]


@pytest.mark.parametrize(
    ("device", "value", "u", "code"),
    [("d1", -1.0, None, "RND-004"), ("d1", float("nan"), None, "RND-004"), ("d1", 5, 0, "RND-004")],
)
def test_result_that_cannot_be_is_refused(desk: RoundDesk, device, value, u, code) -> None:
    one = desk.plan(PLAN)
    with refused(code):
        report(desk, one.round_id, device, value, u)
    with refused("RND-003"):
        report(desk, one.round_id, "nobody", 5.0)


def test_later_result_takes_the_place_and_people_reach_their_own(desk: RoundDesk) -> None:
    one = desk.plan(PLAN)
    lead = replace(desk, actor=LEAD)
    report(lead, one.round_id, "d1", 5.3)
    assert [r.value for r in report(lead, one.round_id, "d1", 5.2).results] == [5.2]
    with pytest.raises(AccessRefused):
        report(lead, one.round_id, "d9", 5.0)
    with pytest.raises(AccessRefused):
        lead.close(one.round_id)
    assert len(replace(desk, actor=REVIEWER).rounds()) == 1
    with pytest.raises(AccessRefused):
        replace(desk, actor=ADMINISTRATOR).rounds()


def test_commands_plan_report_show_and_close(network_folder: Path, capsys, tmp_path: Path) -> None:
    (network_folder / "network.toml").write_text(NETWORK_TEXT + DEVICES, encoding="utf-8")

    def run(*arguments: str, code: int = 0) -> str:
        assert main([*arguments, "--network", str(network_folder)], {}) == code
        said = capsys.readouterr()
        return said.err if code else said.out

    days = ("--opens", "2026-09-01", "--closes", "2026-10-31")
    more = ("--assigned", "robust consensus", "--sigma", "0.25")
    said = run("rounds", "plan", "--title", "T", "--devices", *ALL[:3], *days, *more, code=24)
    assert "[RND-002] round: 3 participants. Expected: at least 4 for a robust consensus" in said
    run("rounds", "plan", "--title", "T", "--devices", *ALL, *days, *more)
    for device, value in zip(ALL, RESULTS, strict=True):
        run("rounds", "report", "ROUND-0001", device, "--value", str(value), "--uncertainty", "0.1")
    shown = run("rounds", "close", "ROUND-0001")
    assert "d9: 6, z +3" in shown.replace("z′", "z")
    assert "d9" not in run("rounds", "show", "ROUND-0001", "--site", "north")
    out = tmp_path / "round.csv"
    run("rounds", "show", "ROUND-0001", "--out", str(out))
    assert len(out.read_text().splitlines()) == 10
    assert "closed, 9 of 9" in run("rounds", "list")


def test_study_file_is_worked_out_or_refused(network_folder: Path, capsys, tmp_path: Path) -> None:
    rows = [
        f"s{s},{o},{t},{5 + s + shift + 0.1 * t}"
        for s in range(6)
        for o, shift in (("a", 0), ("b", 0.5))
        for t in (1, 2)
    ]
    file = tmp_path / "study.csv"
    file.write_text("\n".join(["subject,operator,trial,value", *rows]), encoding="utf-8")
    command = ["rounds", "agreement", "--file", str(file), "--network", str(network_folder)]
    assert main(command, {}) == 0
    assert "all: 6 subjects; repeatability (same operator)" in capsys.readouterr().out
    file.write_text("subject,operator,trial,value\ns,a,1,x", encoding="utf-8")
    assert main(command, {}) == 24
    assert "[RND-010]" in capsys.readouterr().err


def test_study_is_kept_without_names_and_taken_back(
    network_folder: Path, capsys, tmp_path: Path
) -> None:
    rows = [
        f"Ann Doe {s},{o},{t},{5 + s + 0.1 * t}"
        for s in range(6)
        for o in ("Otto", "Una")
        for t in (1, 2)
    ]
    file = tmp_path / "study.csv"
    file.write_text("\n".join(["subject,operator,trial,value", *rows]), encoding="utf-8")
    base = ["rounds", "agreement", "--network", str(network_folder)]
    assert main([*base, "--file", str(file), "--keep", "Spring"], {}) == 0
    assert "STUDY-0001 is kept without the names in it." in capsys.readouterr().out
    with closing(open_record(network_folder, environ={})) as store:
        desk = RoundDesk(store, NETWORK, MANAGER, AT)
        (kept,) = desk.studies()
        assert (kept.sizes, kept.table[0][0]) == ((6, 2, 2), (5.1, 5.2))
        with store.reading() as reading:
            told = "".join(one.data for one in reading.events("agreement study"))
        assert not any(name in told for name in ("Doe", "Otto", "Una"))
        assert study_views(desk.studies())[0].rows[0][:2] == ("all", "6")
        with pytest.raises(AccessRefused):
            replace(desk, actor=LEAD).keep_study(title="T", table=kept.table)
        with pytest.raises(FollowupError, match=r"(?s)\[RND-010\].*above 0"):
            desk.keep_study(title="T", table=(((0.0, 1.0),) * 2,) * 2)
        assert len(desk.studies()) == 1
    assert main([*base, "--take-back", "STUDY-0001", "--why", "other device"], {}) == 0
    assert main([*base, "--take-back", "STUDY-0001", "--why", "again"], {}) == 24
    assert "[RND-011]" in capsys.readouterr().err
    assert main([*base, "--keep", "T"], {}) == 2
    assert "--keep TITLE with --file FILE" in capsys.readouterr().err
