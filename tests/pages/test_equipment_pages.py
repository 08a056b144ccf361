"""Devices and Rounds: what they show, and what their forms take and refuse."""

import csv
import io
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from dashboard.addresses import Download, Page
from dashboard.app import create_app, render
from dashboard.downloads import download
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.demo_equipment import keep_demo_equipment
from qa.jobs.followup.equipment import EquipmentDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.followup.rounds import RoundDesk
from qa.model.permissions import Actor, Role
from qa.stores.followup.store import FollowupStore
from qa.stores.settings import load_network
from tests.followup.notes import MANAGER, NETWORK_TEXT
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import send
from tests.pages.walk import text

AT = datetime(2026, 11, 4, 7, 0, tzinfo=UTC)
BIASES = {"dev-12": (date(2026, 1, 1), 0.15)}
DEVICES = "".join(
    f'[[devices]]\nid = "dev-{n:02}"\nsite = "{"north" if n < 8 else "south"}"\ncode = "C{n}"\n'
    'techniques = ["TE"]\n'
    for n in range(1, 14)
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "network.toml").write_text(NETWORK_TEXT + DEVICES, encoding="utf-8")
    return tmp_path


@pytest.fixture
def store(folder: Path) -> Iterator[FollowupStore]:
    opened = open_record(folder, environ={})
    yield opened
    opened.close()


class Here:
    """The sample's snapshot with the network that has devices."""

    def __init__(self, folder: Path) -> None:
        self.sample, self.network = sample_published(), load_network(folder)

    def __getattr__(self, name: str):
        return getattr(self.sample, name)


@pytest.fixture
def show(folder: Path, store: FollowupStore):
    def shown(page: Page, actor: Actor | None = MANAGER, **query: str) -> str:
        desk = CaseDesk(store, actor, AT)
        return text(render(page, lambda: Here(folder), query, make_desk=lambda: desk))

    return shown


@pytest.fixture
def client(folder: Path, store: FollowupStore) -> FlaskClient:
    app = create_app(lambda: Here(folder), make_desk=lambda: CaseDesk(store, MANAGER, AT))
    return app.server.test_client()


def test_screens_without_anything_say_so(show) -> None:
    assert "No phantom was measured, so the equipment cannot be judged." in show(Page.DEVICES)
    assert "No round was planned, so nothing tells whether sites agree." in show(Page.ROUNDS)


def test_demo_shows_what_was_planted(folder: Path, show) -> None:
    keep_demo_equipment(folder, {}, at=AT, biases=BIASES)
    keep_demo_equipment(folder, {}, at=AT, biases=BIASES)
    shown = show(Page.DEVICES)
    assert "dev-12 is out of limits on a phantom." in shown
    assert "Phantom PH-STIFF itself seems to move" in shown
    assert "PH-SOFT itself" not in shown
    assert "update of the device to 3.1 (invented), 2026-01-01" in shown
    assert "ended 2026-09-25: checks on it judge nothing" in shown
    assert "1 day overdue" in shown
    assert "dev-12 in its patients" in shown
    assert "update of the device to 3.1 (invented), 2026-01-01: from the event on" in shown
    assert "too few exams" in shown
    chosen = show(Page.DEVICES, series="dev-01/standard/PH-OLD")
    assert "dev-01, standard probe on PH-OLD: phantom expired" in chosen
    rounds = show(Page.ROUNDS, round="ROUND-0002")
    assert (
        "dev-04, North is out in Spring round (invented); 8 participants are within limits."
        in rounds
    )
    assert "Few participants: read with care" in show(Page.ROUNDS)


def test_only_the_biased_device_is_out_on_the_steady_phantom(folder: Path, store) -> None:
    """Planted: dev-12 at +15 %; dev-05 was at +8 % for days and is back."""
    keep_demo_equipment(folder, {}, at=AT, biases=BIASES)
    desk = EquipmentDesk(store, load_network(folder), MANAGER, AT)
    charts = desk.equipment().charts
    soft = {key[0]: one.newest for key, one in charts.items() if key[2] == "PH-SOFT"}
    out = {device for device, newest in soft.items() if newest.bias_share > 0.1}
    assert out == {"dev-12"}
    log = desk.equipment().logs["dev-05"]
    assert log.open_entries == ()
    bias = [p.bias_share for p in charts["dev-05", "standard", "PH-SOFT"].points if p.part == 1]
    assert bias[0] == pytest.approx(0.08, abs=0.03)


def test_site_lead_sees_own_participants_by_name_only(folder: Path, show) -> None:
    keep_demo_equipment(folder, {}, at=AT, biases=BIASES)
    lead = Actor("otto", "Otto (invented)", (Role.SITE_LEAD,), sites=("south",))
    shown = show(Page.ROUNDS, lead, round="ROUND-0002")
    assert "dev-08, South" in shown
    assert "North" not in shown
    assert "participant 4 is out" in shown
    assert "dev-12" in show(Page.DEVICES, lead)
    assert "dev-05, standard" not in show(Page.DEVICES, lead)


def csv_rows(show_file, where: Download, **query: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(show_file(where, **query))))


@pytest.fixture
def show_file(folder: Path, store: FollowupStore):
    def shown(where: Download, actor: Actor | None = MANAGER, **query: str) -> str:
        desk = CaseDesk(store, actor, AT)
        answer = download(where, lambda: Here(folder), query, make_desk=lambda: desk)
        assert answer.status_code == 200
        return answer.get_data(as_text=True)

    return shown


def test_files_hold_what_the_screens_show(folder: Path, show_file) -> None:
    keep_demo_equipment(folder, {}, at=AT, biases=BIASES)
    scores = csv_rows(show_file, Download.ROUND, round="ROUND-0002")
    assert len(scores) == 9
    out = [one for one in scores if one["verdict"] == "action"]
    assert [one["device"] for one in out] == ["dev-04"]
    assert float(out[0]["z"]) == pytest.approx((float(out[0]["value"]) - 7) / 0.25)
    own = csv_rows(show_file, Download.ROUND, round="ROUND-0002", site="south")
    assert {one["device"] for one in own} == {"dev-08", "dev-09"}
    past = csv_rows(show_file, Download.ROUNDS)
    assert len(past) == 2 * 9
    assert {one["participant"] for one in past if one["is_biased"] == "True"} == {"dev-04, North"}
    checks = csv_rows(show_file, Download.CHECKS)
    assert {one["device"] for one in checks} == {f"dev-{n:02}" for n in (1, 2, 3, 4, 5, 12)}
    last = [one for one in checks if one["device"] == "dev-12" and one["phantom"] == "PH-SOFT"][-1]
    assert float(last["bias_share"]) == pytest.approx(0.15, abs=0.03)


def test_files_of_a_network_without_rounds_or_checks_are_empty(show_file) -> None:
    for where in (Download.ROUND, Download.ROUNDS, Download.STUDIES, Download.CHECKS):
        assert csv_rows(show_file, where) == []
    assert [one["n_pairs"] for one in csv_rows(show_file, Download.AGREEMENT)] == ["0", "0", "0"]


def test_lead_gets_foreign_participants_without_their_device(folder: Path, show_file) -> None:
    keep_demo_equipment(folder, {}, at=AT, biases=BIASES)
    lead = Actor("otto", "Otto (invented)", (Role.SITE_LEAD,), sites=("south",))
    for site in ("", "north"):
        told = show_file(Download.ROUND, lead, round="ROUND-0002", site=site)
        rows = list(csv.DictReader(io.StringIO(told)))
        assert {one["device"] for one in rows} == {"", "dev-08", "dev-09"}
        assert "North" not in told
    assert "dev-04" not in show_file(Download.ROUNDS, lead)
    assert "dev-04" not in show_file(Download.CHECKS, lead)


def test_report_of_a_site_speaks_of_its_participants_only(folder: Path, show) -> None:
    keep_demo_equipment(folder, {}, at=AT, biases=BIASES)
    shown = show(Page.ROUNDS, round="ROUND-0002", site="south")
    assert "All 2 participants of Spring round (invented) agree." in shown
    assert "dev-04, North" not in shown
    winter = show(Page.ROUNDS, round="ROUND-0001")
    assert "From the certificate: 7 ± 0.21 (expanded)." in winter
    assert "0.25 kPa (as planned)" in winter
    assert "Volunteers of spring (invented): one operator again differs by" in winter
    assert "14 subjects, 3 operators, 3 trials each." in winter


def test_study_of_the_demo_scatters_as_planted(folder: Path, show_file) -> None:
    """Planted: one operator 8 %; operators and their volunteers 6 %; operators' means 3 % (sd)."""
    keep_demo_equipment(folder, {}, at=AT, biases=BIASES)
    rows = csv_rows(show_file, Download.STUDIES)
    assert [one["range"] for one in rows] == ["all", "below 9 kPa", "9 kPa and above"]
    low = rows[1]
    mean = float(low["mean_kpa"])
    assert float(low["repeatability_sd_kpa"]) / mean == pytest.approx(0.08, abs=0.02)
    assert float(low["reproducibility_sd_kpa"]) / mean == pytest.approx(0.104, abs=0.035)


PHANTOM = {
    "what": "phantom",
    "phantom_id": "PH-1",
    "quantity": "stiffness",
    "value": "10",
    "expanded": "0.3",
    "certificate": "INV-1",
    "issued_on": "2026-01-01",
    "expires_on": "2027-01-01",
}
CHECK = {
    "what": "check",
    "device_id": "dev-01",
    "probe": "standard",
    "phantom_id": "PH-1",
    "day": "2026-11-02",
    "values": "10.7 10.7 10.8",
}


def test_forms_lead_from_phantom_to_sign_off(client: FlaskClient, folder, store) -> None:
    event = {"what": "event", "device_id": "dev-01", "day": "2026-10-01", "kind": "in service"}
    update = {**event, "kind": "update", "day": "2026-11-01", "to": "2.0"}
    for fields in (PHANTOM, {**PHANTOM, "certificate": "INV-2"}, event, update, CHECK):
        assert send(client, "/devices/enter", **fields).status_code == 303, fields
    page = client.get("/devices/enter?device=dev-01", base_url="http://127.0.0.1:8050").text
    assert "Sign off after an event" in page
    sign = {"what": "sign-off", "device_id": "dev-01", "entry_no": "2", "day": "2026-11-03"}
    assert send(client, "/devices/enter", **sign).status_code == 422
    assert send(client, "/devices/enter", **sign, words="New level").status_code == 303
    desk = EquipmentDesk(store, load_network(folder), MANAGER, AT)
    assert desk.equipment().logs["dev-01"].open_entries == ()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"values": "10,7 10.8 10.9"}, "these are no numbers"),
        ({"phantom_id": "PH-9"}, "is not registered"),
        ({"day": ""}, "this is no day"),
        ({"device_id": "<b>x</b>"}, "there is no device &#39;&lt;b&gt;x&lt;/b&gt;&#39;"),
        ({"what": "dance"}, "no such form"),
    ],
)
def test_refused_form_comes_back_as_it_was(client: FlaskClient, change: dict, said: str) -> None:
    send(client, "/devices/enter", **PHANTOM)
    answer = send(client, "/devices/enter", **CHECK | change)
    assert answer.status_code == 422
    assert said in answer.text
    if "what" not in change:
        assert (change | CHECK)["values"].split()[-1] in answer.text


def test_round_is_planned_reported_and_closed_by_forms(client: FlaskClient, folder, store) -> None:
    plan = {
        "what": "plan",
        "title": "Round <b>",
        "item": "volunteers",
        "quantity": "stiffness",
        "assigned_by": "robust consensus",
        "opens_on": "2026-10-01",
        "closes_on": "2026-12-01",
    }
    few = send(client, "/rounds/enter", **plan, devices="dev-01 dev-02 dev-03")
    assert few.status_code == 422
    assert "at least 4 for a robust consensus" in few.text
    devices = [f"dev-{n:02}" for n in range(1, 9)]
    assert send(client, "/rounds/enter", **plan, devices=" ".join(devices)).status_code == 303
    report = {"what": "report", "round": "ROUND-0001", "n": "10"}
    for k, device in enumerate(devices):
        told = {**report, "device_id": device, "value": str(5 + k / 10)}
        assert send(client, "/rounds/enter", **told).status_code == 303
    assert send(client, "/rounds/enter", what="close", round="ROUND-0001").status_code == 303
    (one,) = RoundDesk(store, load_network(folder), MANAGER, AT).rounds()
    assert one.is_closed
    shown = client.get("/rounds/enter?round=ROUND-0001", base_url="http://127.0.0.1:8050").text
    assert "The round is closed." in shown
    assert "Round <b>" not in shown
