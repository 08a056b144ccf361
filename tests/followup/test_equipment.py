"""Devices, phantoms and their checks: what is kept, what is refused, and that it is whole."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from qa.followup.checks import CheckForm
from qa.followup.device_log import EntryForm
from qa.followup.phantoms import CertificateForm
from qa.followup.rounds import RoundPlan
from qa.jobs.followup.equipment import EquipmentDesk
from qa.jobs.followup.rounds import RoundDesk
from qa.jobs.followup.trail import verify_trail
from qa.model.errors import AccessRefused, FollowupError
from qa.model.parsing import parse_network
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import AT, LEAD, MANAGER, NETWORK_TEXT, OTHER_LEAD, REVIEWER

DEVICES = """
[[devices]]
id = "dev-1"
site = "north"
code = "A1"
techniques = ["TE"]
[[devices]]
id = "dev-2"
site = "south"
code = "B2"
techniques = ["TE"]
"""
NETWORK = parse_network(NETWORK_TEXT + DEVICES, where="network.toml")
FIRST = date(2025, 11, 3)
CERTIFICATE = CertificateForm("INV-1", 10.0, 0.3, date(2025, 1, 1), date(2027, 1, 1))
CHECK = CheckForm("dev-1", "standard", "PH-1", FIRST, (9.9, 10.0, 10.1))
HEAD = "day,device,probe,phantom,unit,value_1,value_2,value_3\n"


def desk(store: FollowupStore, actor=MANAGER) -> EquipmentDesk:
    return EquipmentDesk(store, NETWORK, actor, AT)


@pytest.fixture
def kept(store: FollowupStore) -> EquipmentDesk:
    """A device in service, a phantom, and ten checks around 10 kPa."""
    found = desk(store)
    found.register_phantom(
        "PH-1", name="Gel (invented)", quantity="stiffness", site_id="", certificate=CERTIFICATE
    )
    found.enter("dev-1", EntryForm("in service", date(2025, 1, 5), to="1.0"))
    found.enter("dev-1", EntryForm("exchange", date(2025, 1, 5), probe="standard", to="s-17"))
    found.measure(
        [
            replace(CHECK, day=FIRST + timedelta(days=30 * k), values=(9.9 + d, 10 + d, 10.1 + d))
            for k, d in enumerate((0, 0.1, -0.1, 0.05, -0.05, 0.1, -0.1, 0, 0.05, -0.05))
        ]
    )
    return found


def refused(code: str):
    return pytest.raises(FollowupError, match=rf"\[{code}\]")


def test_update_with_bias_is_seen_and_signed_off_on_evidence(kept: EquipmentDesk) -> None:
    kept.enter("dev-1", EntryForm("update", date(2026, 10, 20), to="2.0"))
    with refused("EQP-005"):
        kept.sign_off("dev-1", entry_no=3, day=date(2026, 10, 25), words="fine")
    kept.measure([replace(CHECK, day=date(2026, 10, 22), values=(10.7, 10.8, 10.9))])
    seen = kept.equipment()
    assert [one.no for one in seen.logs["dev-1"].open_entries] == [2, 3]
    assert seen.charts["dev-1", "standard", "PH-1"].newest.state == "acceptance run"
    with refused("EQP-002"):
        kept.sign_off("dev-1", entry_no=3, day=date(2026, 10, 19), words="fine")
    log = kept.sign_off("dev-1", entry_no=3, day=date(2026, 10, 25), words="New level accepted")
    assert log.entry(3).signed_by == "maria"
    assert log.software == "2.0"
    assert log.probes == {"standard": "s-17"}
    with kept.store.reading() as reading:
        signed = reading.events("device")[-1].values
    assert "+8.0% against the baseline before" in signed["evidence"][0]
    with refused("EQP-004"):
        kept.sign_off("dev-1", entry_no=3, day=date(2026, 10, 25), words="again")
    assert verify_trail(kept.store).is_whole


@pytest.mark.parametrize(
    ("form", "code"),
    [
        (EntryForm("update", date(2025, 1, 4)), "EQP-002"),
        (EntryForm("update", date(2026, 11, 5)), "EQP-002"),
        (EntryForm("calibration", date(2026, 1, 4)), "EQP-003"),
        (EntryForm("explosion", date(2026, 1, 4)), "EQP-001"),
    ],
)
def test_event_that_does_not_fit_is_refused(kept: EquipmentDesk, form, code) -> None:
    before = kept.equipment().logs["dev-1"]
    with refused(code):
        kept.enter("dev-1", form)
    assert kept.equipment().logs["dev-1"] == before


def test_event_of_an_unknown_device_or_before_service_is_refused(kept: EquipmentDesk) -> None:
    with refused("EQP-001"):
        kept.enter("dev-9", EntryForm("update", date(2026, 1, 4)))
    with refused("EQP-001"):
        kept.enter("dev-2", EntryForm("update", date(2026, 1, 4)))


@pytest.mark.parametrize(
    ("check", "code"),
    [
        (replace(CHECK, phantom_id="PH-9"), "EQP-020"),
        (replace(CHECK, day=date(2024, 12, 31)), "EQP-020"),
        (replace(CHECK, values=(9.9, 10.0)), "EQP-021"),
        (replace(CHECK, values=(1.8, 1.9, 1.8)), "EQP-021"),
        (replace(CHECK, values=(9.9, float("nan"), 10)), "EQP-021"),
        (replace(CHECK, day=date(2026, 11, 5)), "EQP-022"),
        (CHECK, "EQP-023"),
        (replace(CHECK, probe=""), "EQP-001"),
    ],
)
def test_check_that_does_not_fit_leaves_nothing_of_its_batch(kept, check, code) -> None:
    before = kept.equipment().series
    good = replace(CHECK, day=date(2026, 11, 1), values=(9.8, 9.9, 10.0))
    with refused(code):
        kept.measure([good, check])
    assert kept.equipment().series == before


def test_retired_phantom_takes_no_check(kept: EquipmentDesk) -> None:
    kept.retire_phantom("PH-1", why="dried out")
    with refused("EQP-020"):
        kept.measure([replace(CHECK, day=date(2026, 11, 1))])


def test_certificate_needs_all_of_it(kept: EquipmentDesk) -> None:
    for wrong in (
        replace(CERTIFICATE, expanded=0.0),
        replace(CERTIFICATE, expires_on=date(2024, 1, 1)),
        replace(CERTIFICATE, issued_on=date(2026, 11, 20), expires_on=date(2027, 11, 20)),
    ):
        with refused("EQP-010"):
            kept.certify_anew("PH-1", certificate=wrong)
    with refused("EQP-011"):
        kept.certify_anew("PH-1", certificate=replace(CERTIFICATE, issued_on=date(2024, 6, 1)))
    newer = replace(CERTIFICATE, value=10.2, issued_on=date(2026, 6, 1))
    assert kept.certify_anew("PH-1", certificate=newer).newest.value == 10.2


def test_file_is_kept_whole_or_not_at_all(kept: EquipmentDesk) -> None:
    before = kept.equipment().series
    good = "2026-11-01,dev-1,standard,PH-1,kPa,9.8,9.9,10.0\n"
    with refused("EQP-031"):
        kept.measure_file(
            HEAD + good + '2026-11-02,dev-1,standard,PH-1,kPa,"9,8",9.9,10\n', name="f"
        )
    with refused("EQP-031"):
        kept.measure_file(HEAD + good.replace("kPa", "dB/m"), name="f")
    with refused("EQP-030"):
        kept.measure_file(HEAD.replace("unit", "patient"), name="f")
    with refused("EQP-020"):
        kept.measure_file(HEAD + good + good.replace("PH-1", "PH-7"), name="f")
    assert kept.equipment().series == before
    assert len(kept.measure_file(HEAD + good + "\n", name="f.csv")) == 1
    newest = kept.equipment().series["dev-1", "standard", "PH-1"].sessions[-1]
    assert newest.source == "f.csv, row 2"


def test_check_taken_back_counts_no_more_and_stays(kept: EquipmentDesk) -> None:
    key = ("dev-1", "standard", "PH-1")
    assert len(kept.take_back(key, entry_no=2, why="other phantom").sessions) == 9
    with refused("EQP-024"):
        kept.take_back(key, entry_no=2, why="again")


def test_people_reach_what_their_role_reaches(kept: EquipmentDesk) -> None:
    check = replace(CHECK, day=date(2026, 11, 1))
    replace(kept, actor=LEAD).measure([check])
    for actor in (OTHER_LEAD, REVIEWER, None):
        with pytest.raises(AccessRefused):
            replace(kept, actor=actor).measure([replace(check, values=(9.9, 9.9, 9.8))])
    with pytest.raises(AccessRefused):
        replace(kept, actor=LEAD).retire_phantom("PH-1", why="mine")
    assert replace(kept, actor=OTHER_LEAD).equipment().charts == {}
    assert list(replace(kept, actor=REVIEWER).equipment().logs) == ["dev-1"]


CONSENSUS = RoundPlan(
    title="Round of three (invented)",
    item="phantom",
    quantity="stiffness",
    phantom_id="PH-1",
    participants=("dev-1", "dev-2"),
    opens_on=date(2026, 9, 1),
    closes_on=date(2026, 10, 31),
    assigned_by="robust consensus",
)


@pytest.mark.parametrize(
    ("do", "code", "said"),
    [
        (
            lambda on: on.measure([replace(CHECK, phantom_id="PH-9")]),
            "EQP-020",
            "a phantom registered with a certificate",
        ),
        (
            lambda on: RoundDesk(on.store, on.network, on.actor, on.at).plan(CONSENSUS),
            "RND-002",
            "at least 4 for a robust consensus",
        ),
        (
            lambda on: on.enter("dev-1", EntryForm("update", date(2025, 1, 4))),
            "EQP-002",
            "not before the log's last event on 2025-01-05",
        ),
    ],
)
def test_refused_input_leaves_record_and_trail_as_they_were(
    kept: EquipmentDesk, do, code: str, said: str
) -> None:
    """No certificate, too few participants, an event out of order."""
    with kept.store.reading() as reading:
        before = reading.last_entry()
    with pytest.raises(FollowupError, match=rf"(?s)\[{code}\].*{said}"):
        do(kept)
    with kept.store.reading() as reading:
        assert reading.last_entry() == before
