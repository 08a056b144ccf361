"""The invented network's register, phantom checks and rounds; all of it invented, and small.

Told by it: a device that reads 8 % high after an update and is calibrated and signed off within
days; devices that read high since an update that nobody signed off, by as much as their patients'
values do; a phantom that dries out; one whose certificate has ended; a site that is out in a round.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from types import MappingProxyType

import numpy as np

from qa.followup.checks import CheckForm
from qa.followup.device_log import EntryForm
from qa.followup.phantoms import CertificateForm
from qa.followup.rounds import Round, RoundPlan
from qa.jobs.followup.demo_record import PROPOSER
from qa.jobs.followup.equipment import EquipmentDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.followup.rounds import RoundDesk
from qa.model.definitions import Network
from qa.model.equipment_words import AssignedBy, DeviceEventKind, Quantity, RoundItem
from qa.model.words import Probe, Technique
from qa.stores.followup.store import FollowupStore
from qa.stores.settings import load_network

N_DEVICES, N_SESSIONS, N_VALUES = 6, 18, 5
LONG_CHECKED_SITE, N_LONG_SESSIONS = 3, 24
"""By its place in network.toml: a site whose device has been checked for two years."""
NO_FACTORS: Mapping[str, float] = MappingProxyType({})
NO_BIASES: Mapping[str, tuple[date, float]] = MappingProxyType({})
SEED = 62
# Phantoms of a survey read with these scatters on one device (domain notes, 6.2).
SOFT, STIFF, OLD = ("PH-SOFT", 7.0, 0.012), ("PH-STIFF", 23.3, 0.032), ("PH-OLD", 2.6, 0.014)
ROUND_DEVICES = 9


@dataclass(frozen=True)
class Cast:
    """Devices with a part in it. updated: "" where the network has too few devices.

    biases: since when, and by which share, a device reads too high.
    long_checked: a device with more checks behind it than the others; "" for none.
    """

    checked: tuple[str, ...]
    updated: str
    biases: Mapping[str, tuple[date, float]]
    long_checked: str = ""


def keep_demo_equipment(
    folder: Path,
    environ: Mapping[str, str],
    *,
    at: datetime,
    biases: Mapping[str, tuple[date, float]] = NO_BIASES,
) -> None:
    """Write the demo's register, checks and rounds once; a register that is there stays.

    Args: biases: device → since when its patients' values are too high, and by which share.
    """
    store = open_record(folder, environ=environ)
    try:
        write_demo_equipment(store, load_network(folder), at=at, biases=biases)
    finally:
        store.close()


def write_demo_equipment(
    store: FollowupStore,
    network: Network,
    *,
    at: datetime,
    biases: Mapping[str, tuple[date, float]] = NO_BIASES,
) -> None:
    """As keep_demo_equipment, into a store that is open."""
    desk = EquipmentDesk(store, network, PROPOSER, at)
    if desk.equipment().phantoms:
        return
    cast, rng = _cast(network, biases), np.random.default_rng(SEED)
    _phantoms(desk)
    _register(desk, cast)
    checks = _checks(cast, rng, desk.today)
    desk.measure([*_older_checks(cast, checks, desk.today), *checks])
    _events(desk, cast, rng)
    rounds = RoundDesk(store, network, PROPOSER, at)
    _rounds(rounds, cast, rng)
    _study(rounds, rng)


def _cast(network: Network, biases: Mapping[str, tuple[date, float]]) -> Cast:
    found = [one.id for one in network.devices if Technique.TE in one.techniques]
    biased = [one for one in found if one in biases]
    others = [one for one in found if one not in biased][: N_DEVICES - len(biased)]
    updated = others[-1] if len(others) > 2 else ""
    sites = [one.id for one in network.sites[LONG_CHECKED_SITE : LONG_CHECKED_SITE + 1]]
    here = [one.id for one in network.devices if one.site in sites and one.id in found]
    own = {one: biases[one] for one in biased}
    return Cast((*others, *biased), updated, own, here[0] if here else "")


def _phantoms(desk: EquipmentDesk) -> None:
    for phantom_id, value, _ in (SOFT, STIFF, OLD):
        ends = desk.today + timedelta(days=-40 if phantom_id == OLD[0] else 300)
        desk.register_phantom(
            phantom_id,
            name="Gel block (invented)",
            quantity=Quantity.STIFFNESS,
            site_id="",
            certificate=CertificateForm(
                f"INVENTED-{phantom_id}", value, round(0.03 * value, 2), date(2024, 1, 10), ends
            ),
        )


def _register(desk: EquipmentDesk, cast: Cast) -> None:
    devices = dict.fromkeys((*cast.checked, cast.long_checked))
    for number, device in enumerate([one for one in devices if one], start=1):
        first = EntryForm(DeviceEventKind.IN_SERVICE, date(2024, 2, 1), to="3.0 (invented)")
        desk.enter(device, first)
        probe = EntryForm(
            DeviceEventKind.IN_SERVICE,
            date(2024, 2, 1),
            probe=Probe.STANDARD,
            to=f"invented-{number:03d}",
        )
        desk.enter(device, probe)


def _days(today: date, n: int = N_SESSIONS) -> list[date]:
    return [today - timedelta(days=30 * k + 6) for k in range(n - 1, -1, -1)]


def _older_checks(cast: Cast, checks: list[CheckForm], today: date) -> list[CheckForm]:
    """Two years of checks of one device, at its own level; with numbers of their own, so that the
    others stay what they are.
    """
    rng, device = np.random.default_rng(SEED + 1), cast.long_checked
    phantom_id, value, scatter = SOFT
    own = [one for one in checks if (one.device_id, one.phantom_id) == (device, phantom_id)]
    level = float(np.mean([one.values for one in own[:10]])) if own else value
    days = _days(today, N_LONG_SESSIONS)[: -N_SESSIONS if own else None]
    return [
        CheckForm(
            device,
            Probe.STANDARD,
            phantom_id,
            day,
            _values(rng, level, scatter / 2),
            source="demo (invented)",
        )
        for day in days
        if device and day > date(2024, 2, 1)
    ]


def _values(rng: np.random.Generator, level: float, scatter: float) -> tuple[float, ...]:
    """One session: the day's level, and single measurements around it."""
    mean = rng.normal(level, level * scatter)
    return tuple(round(float(one), 2) for one in rng.normal(mean, level * scatter, N_VALUES))


def _checks(cast: Cast, rng: np.random.Generator, today: date) -> list[CheckForm]:
    forms = []
    for number, device in enumerate(cast.checked):
        own = rng.normal(1, 0.01)
        for k, day in enumerate(_days(today)):
            if number == 2 and k == N_SESSIONS - 1:
                continue  # One check is overdue.
            for phantom_id, value, scatter in (SOFT, STIFF):
                level = value * own * _drift(phantom_id, k) * _bias(device, cast, day)
                forms.append(
                    CheckForm(
                        device,
                        Probe.STANDARD,
                        phantom_id,
                        day,
                        _values(rng, level, scatter),
                        source="demo (invented)",
                    )
                )
    device, phantom_id, value, scatter = cast.checked[0], *OLD
    forms += [
        CheckForm(device, Probe.STANDARD, phantom_id, day, _values(rng, value, scatter))
        for day in _days(today)[-4:]
    ]
    return forms


def _drift(phantom_id: str, k: int) -> float:
    """The stiff phantom dries out over its last eight sessions, 1.5 % a session."""
    return 1 + 0.015 * max(k - (N_SESSIONS - 8), 0) if phantom_id == STIFF[0] else 1.0


def _bias(device: str, cast: Cast, day: date) -> float:
    since, size = cast.biases.get(device, (day, 0.0))
    return 1 + size if day >= since else 1.0


def _events(desk: EquipmentDesk, cast: Cast, rng: np.random.Generator) -> None:
    """Updates: some unsigned since, one found 8 % high, calibrated and signed off."""
    for device, (day, _) in cast.biases.items():
        if date(2024, 2, 1) < day <= desk.today:
            desk.enter(device, EntryForm(DeviceEventKind.UPDATE, day, to="3.1 (invented)"))
    if not cast.updated:
        return
    day = desk.today - timedelta(days=60)
    desk.enter(cast.updated, EntryForm(DeviceEventKind.UPDATE, day, to="3.1 (invented)"))
    desk.measure([_after(cast.updated, day + timedelta(days=1), 1.08, rng)])
    repaired = EntryForm(
        DeviceEventKind.CALIBRATION,
        day + timedelta(days=4),
        certificate="INVENTED-CAL-7",
        words="8 % above its baseline on the phantom after the update; calibrated",
        due_on=desk.today + timedelta(days=300),
    )
    log = desk.enter(cast.updated, repaired)
    desk.measure([_after(cast.updated, day + timedelta(days=5), 1.0, rng)])
    for one in log.open_entries:
        desk.sign_off(
            cast.updated,
            entry_no=one.no,
            day=day + timedelta(days=6),
            words="Found 8 % high after the update, back at its baseline after the calibration",
        )


def _after(device: str, day: date, bias: float, rng: np.random.Generator) -> CheckForm:
    phantom_id, value, scatter = SOFT
    return CheckForm(
        device, Probe.STANDARD, phantom_id, day, _values(rng, value * bias, scatter / 2)
    )


def _rounds(desk: RoundDesk, cast: Cast, rng: np.random.Generator) -> None:
    """Two closed rounds, one site 8 % high in the first and out in the second; an open one."""
    devices = [one.id for one in desk.network.devices if Technique.TE in one.techniques]
    if len(devices) < 4:
        return
    for title, ago, high in (("Winter round", 380, 1.08), ("Spring round", 200, 1.17)):
        one = _round(desk, title, devices, ago=ago, by=AssignedBy.CERTIFICATE)
        _results(desk, one, cast, rng, high={devices[3]: high})
        desk.close(one.round_id, words="The site that is out looks at its probe (invented)")
    one = _round(desk, "Autumn round", devices, ago=30, by=AssignedBy.CONSENSUS)
    _results(desk, one, cast, rng, n=5)


def _round(desk: RoundDesk, title: str, devices: list[str], *, ago: int, by: AssignedBy) -> Round:
    opens = desk.today - timedelta(days=ago)
    return desk.plan(
        RoundPlan(
            title=f"{title} (invented)",
            item=RoundItem.PHANTOM,
            quantity=Quantity.STIFFNESS,
            phantom_id=SOFT[0],
            participants=tuple(devices[:ROUND_DEVICES]),
            opens_on=opens,
            closes_on=opens + timedelta(days=60),
            assigned_by=by,
            sigma=0.25,
        )
    )


def _results(
    desk: RoundDesk,
    one: Round,
    cast: Cast,
    rng: np.random.Generator,
    *,
    n: int | None = None,
    high: Mapping[str, float] = NO_FACTORS,
) -> None:
    """Results of the first n participants; devices read a phantom as their patients."""
    for device in one.plan.participants[:n]:
        level = SOFT[1] * high.get(device, _bias(device, cast, one.plan.opens_on))
        value = round(float(rng.normal(level, 0.08)), 2)
        desk.report(one.round_id, participant=device, value=value, uncertainty=0.06, n=10)


def _study(desk: RoundDesk, rng: np.random.Generator) -> None:
    """Fourteen volunteers, three operators, three trials; one operator measures 4 % low.

    Scatter of one operator 8 %, so that with operators and volunteers apart an exam by another
    scatters as published (11 %, Serra et al., Hepat Med 2020).
    """
    livers = np.exp(rng.normal(np.log(7.0), 0.45, 14))
    person = np.array([1.0, 1.02, 0.96])
    together = rng.normal(0, 0.06, (14, 3, 1)) + rng.normal(0, 0.08, (14, 3, 3))
    values = np.round(livers[:, None, None] * person[None, :, None] * np.exp(together), 1)
    table = tuple(tuple(tuple(map(float, cell)) for cell in row) for row in values)
    desk.keep_study(title="Volunteers of spring (invented)", table=table)
