"""A device that was signed off after an event: what refresh makes of it, and as known before."""

from datetime import date, timedelta
from pathlib import Path

from qa.followup.checks import CheckForm
from qa.followup.device_log import EntryForm
from qa.followup.phantoms import CertificateForm
from qa.jobs.followup.equipment import EquipmentDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.refresh import run_refresh
from qa.stores.settings import load_network
from qa.stores.snapshots import open_current, open_snapshot
from tests.followup.notes import MANAGER
from tests.jobs.test_baselines import AT, LATER, folder, published

__all__ = ["folder", "published"]
GRADES = """
[[grade_tables]]
quantity = "stiffness"
techniques = ["TE"]
id = "lsm_baveno7.v1"
from = 2020-01-01
"""
EVENT, SIGNED = date(2025, 8, 28), date(2025, 9, 3)


def keep(folder: Path, device: str, *, is_signed: bool) -> None:
    store = open_record(folder, environ={})
    desk = EquipmentDesk(store, load_network(folder), MANAGER, LATER)
    desk.register_phantom(
        "PH-1",
        name="Gel (invented)",
        quantity="stiffness",
        site_id="",
        certificate=CertificateForm("INV-1", 10.0, 0.3, date(2025, 1, 1), date(2027, 1, 1)),
    )
    desk.enter(device, EntryForm("in service", date(2025, 1, 1)))
    desk.enter(device, EntryForm("update", EVENT, to="2.0"))
    if is_signed:
        desk.measure([CheckForm(device, "standard", "PH-1", SIGNED, (9.9, 10.0, 10.1))])
        desk.sign_off(device, entry_no=2, day=SIGNED, words="As before")
    store.close()


def starts(snapshot) -> dict[str, list[date]]:
    """First months of baselines of the site, by measure."""
    rows = snapshot.frame("baselines", unit_kind="site", unit_id="harbour")
    events = snapshot.frame("equipment_events").height
    snapshot.close()
    found: dict[str, list[date]] = {"events": [date(1, 1, 1)] * events}
    for row in rows.sort("from_month").iter_rows(named=True):
        found.setdefault(row["measure_id"], []).append(row["from_month"])
    return found


def test_sign_off_begins_a_new_baseline_of_what_depends_on_the_device(folder: Path) -> None:
    text = (folder / "network.toml").read_text(encoding="utf-8")
    (folder / "network.toml").write_text(text + GRADES, encoding="utf-8")
    run_refresh(folder, at=AT, by="test", software_version="1")
    device = next(one.id for one in load_network(folder).devices if one.site == "harbour")
    depending = {
        one.id
        for one in open_current(folder).definitions.measures.values()
        if one.depends_on_device
    }
    before = starts(open_current(folder))
    keep(folder, device, is_signed=True)
    run_refresh(folder, at=LATER, by="test", software_version="1")
    after = starts(open_current(folder))
    assert len(after["events"]) == 1
    changed = {key for key in after if key != "events" and after[key] != before.get(key)}
    assert changed
    assert changed <= depending
    assert all(after[key][-1] == date(2025, 9, 1) for key in changed)
    known = run_refresh(
        folder,
        at=LATER + timedelta(days=2),
        by="test",
        software_version="1",
        as_known_at=AT,
    )
    assert starts(open_snapshot(folder, known.snapshot_id))["events"] == []


def test_event_that_nobody_signed_off_changes_no_baseline(folder: Path) -> None:
    device = next(one.id for one in load_network(folder).devices if one.site == "harbour")
    before = starts(open_current(folder))
    keep(folder, device, is_signed=False)
    run_refresh(folder, at=LATER, by="test", software_version="1")
    after = starts(open_current(folder))
    assert after == before | {"events": [date(1, 1, 1)]}
