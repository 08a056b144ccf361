"""Work on devices and phantoms: each function asks the right, decides, and keeps events."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from qa.drift.acceptance import Acceptance, compare_after
from qa.drift.phantom_checks import CheckChart, chart_checks
from qa.followup import checks, device_log, phantoms
from qa.followup.check_file import read_checks
from qa.followup.checks import CHECKS, CheckForm, CheckSeries, series_id
from qa.followup.device_log import DEVICE_LOG, DeviceLog, EntryForm
from qa.followup.phantoms import PHANTOM, CertificateForm, Phantom
from qa.jobs.followup.opening import change_record, load_record, load_records
from qa.model.definitions import Device, Network
from qa.model.equipment_words import CheckRules
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, may, require
from qa.stores.followup.store import FollowupStore, Reading, Writing

SeriesKey = tuple[str, str, str]


@dataclass(frozen=True)
class Equipment:
    """What somebody may see of the register, at one moment.

    logs: by device; a device without one was never entered. charts: (device, probe, phantom).
    """

    logs: dict[str, DeviceLog]
    phantoms: dict[str, Phantom]
    series: dict[SeriesKey, CheckSeries]
    charts: dict[SeriesKey, CheckChart]


@dataclass(frozen=True)
class EquipmentDesk:
    """Somebody at work on equipment: the store, the network, who it is, and now.

    Args:
        actor: None: nobody is logged in; everything is refused.
        at: now, UTC. Its date is today.
    """

    store: FollowupStore
    network: Network
    actor: Actor | None
    at: datetime

    @property
    def today(self) -> date:
        return self.at.date()

    @property
    def rules(self) -> CheckRules:
        return self.network.phantom_checks

    def equipment(self) -> Equipment:
        """Register, phantoms and charts of the devices whose site this person may see."""
        with self.store.reading() as reading:
            logs = {one.device_id: one for one in load_records(reading, DEVICE_LOG)}
            known = {one.phantom_id: one for one in load_records(reading, PHANTOM)}
            series = {one.key: one for one in load_records(reading, CHECKS)}
        seen = {one.id for one in self.network.devices if self._sees(one)}
        series = {key: one for key, one in series.items() if key[0] in seen and one.sessions}
        return Equipment(
            logs={key: one for key, one in logs.items() if key in seen},
            phantoms=known,
            series=series,
            charts={key: self._chart(one, logs, known) for key, one in series.items()},
        )

    def _sees(self, device: Device) -> bool:
        return any(may(self.actor, Permission.SEE_RESULTS, site_id=one) for one in device.sites)

    def _chart(
        self, one: CheckSeries, logs: dict[str, DeviceLog], known: dict[str, Phantom]
    ) -> CheckChart:
        log = logs.get(one.device_id)
        return chart_checks(
            one.sessions,
            certificate=known[one.phantom_id].newest.plain,
            breaks=log.breaks(one.probe) if log else [],
            rules=self.rules,
        )

    # Devices

    def enter(self, device_id: str, form: EntryForm) -> DeviceLog:
        """Write an event into a device's log.

        Raises: AccessRefused; FollowupError EQP-001 to EQP-003.
        """
        device, actor = self._kept(device_id)
        with self.store.writing() as writing:
            return change_record(
                writing,
                DEVICE_LOG,
                device.id,
                lambda log: device_log.enter(log, form, device_id=device.id, on=self.today),
                by=actor.user_id,
                at=self.at,
            )

    def sign_off(self, device_id: str, *, entry_no: int, day: date, words: str) -> DeviceLog:
        """Release a device after an event, on its acceptance run.

        Raises: AccessRefused; FollowupError FUP-014, EQP-002, EQP-004, EQP-005.
        """
        device, actor = self._kept(device_id)
        with self.store.writing() as writing:
            log = load_record(writing, DEVICE_LOG, device.id)
            told = self._evidence(writing, log, entry_no)
            return change_record(
                writing,
                DEVICE_LOG,
                device.id,
                lambda _: device_log.sign_off(
                    log, entry_no=entry_no, day=day, words=words, evidence=told, on=self.today
                ),
                by=actor.user_id,
                at=self.at,
            )

    def _evidence(self, reading: Reading, log: DeviceLog, entry_no: int) -> list[str]:
        all_series = [
            one for one in load_records(reading, CHECKS) if one.device_id == log.device_id
        ]
        found = acceptance_of(log, entry_no, all_series, self.rules)
        return [
            f"{key[1]} probe on {key[2]}: {one.words}"
            for key, one in found.items()
            if one.n_sessions
        ]

    def _kept(self, device_id: str) -> tuple[Device, Actor]:
        device = next((one for one in self.network.devices if one.id == device_id), None)
        if device is None:
            require(self.actor, Permission.KEEP_EQUIPMENT, site_id=None)
            raise FollowupError(
                f"there is no device '{device_id[:60]}'",
                where="device",
                expected="a device of network.toml",
                code="EQP-001",
            )
        return device, require(self.actor, Permission.KEEP_EQUIPMENT, site_id=device.site)

    # Phantoms

    def register_phantom(
        self,
        phantom_id: str,
        *,
        name: str,
        quantity: str,
        site_id: str,
        certificate: CertificateForm,
    ) -> Phantom:
        """Raises: AccessRefused; FollowupError FUP-021, EQP-010, EQP-012 (an id or site)."""
        actor = require(self.actor, Permission.RUN_ROUNDS)
        is_plain = phantom_id and len(phantom_id) <= 40 and "/" not in phantom_id
        if not is_plain or (site_id and self.network.site(site_id) is None):
            raise FollowupError(
                f"phantom '{phantom_id[:60]}' of site '{site_id[:60]}'",
                expected="an id without '/', and a site of network.toml or none",
                code="EQP-012",
            )
        with self.store.writing() as writing:
            return change_record(
                writing,
                PHANTOM,
                phantom_id,
                lambda one: phantoms.register_phantom(
                    one,
                    name=name,
                    quantity=quantity,
                    site_id=site_id,
                    certificate=certificate,
                    on=self.today,
                ),
                by=actor.user_id,
                at=self.at,
            )

    def certify_anew(self, phantom_id: str, *, certificate: CertificateForm) -> Phantom:
        """Raises: AccessRefused; FollowupError FUP-014, EQP-010, EQP-011."""
        actor = require(self.actor, Permission.RUN_ROUNDS)
        with self.store.writing() as writing:
            known = load_record(writing, PHANTOM, phantom_id)
            return change_record(
                writing,
                PHANTOM,
                phantom_id,
                lambda _: phantoms.certify_anew(known, certificate=certificate, on=self.today),
                by=actor.user_id,
                at=self.at,
            )

    def retire_phantom(self, phantom_id: str, *, why: str) -> Phantom:
        """Raises: AccessRefused; FollowupError FUP-014, FUP-021."""
        actor = require(self.actor, Permission.RUN_ROUNDS)
        with self.store.writing() as writing:
            known = load_record(writing, PHANTOM, phantom_id)
            return change_record(
                writing,
                PHANTOM,
                phantom_id,
                lambda _: phantoms.retire_phantom(known, why=why),
                by=actor.user_id,
                at=self.at,
            )

    # Checks

    def measure(self, forms: Sequence[CheckForm]) -> list[CheckSeries]:
        """Keep sessions, all of them or none.

        Raises: AccessRefused; FollowupError EQP-001, EQP-020 to EQP-023.
        """
        with self.store.writing() as writing:
            known = {one.phantom_id: one for one in load_records(writing, PHANTOM)}
            return [self._measure(writing, form, known) for form in forms]

    def _measure(self, writing: Writing, form: CheckForm, known: dict[str, Phantom]) -> CheckSeries:
        device, actor = self._kept(form.device_id)
        if not form.probe or "/" in form.probe or "/" in form.phantom_id:
            raise FollowupError(
                f"probe '{form.probe[:40]}'",
                where=form.source or device.id,
                expected="standard, large-patient, paediatric or the name of another probe",
                code="EQP-001",
            )
        return change_record(
            writing,
            CHECKS,
            series_id(device.id, form.probe, form.phantom_id),
            lambda one: checks.measure(
                one, form, phantom=known.get(form.phantom_id), on=self.today
            ),
            by=actor.user_id,
            at=self.at,
        )

    def measure_file(self, text: str, *, name: str) -> list[CheckSeries]:
        """Keep the checks of a file, all of them or none. Raises: as measure, EQP-030, EQP-031."""
        require(self.actor, Permission.KEEP_EQUIPMENT, site_id=self._any_site())
        with self.store.reading() as reading:
            units = {one.phantom_id: one.unit for one in load_records(reading, PHANTOM)}
        return self.measure(read_checks(text, name=name, units=units))

    def _any_site(self) -> str | None:
        return self.actor.sites[0] if self.actor and self.actor.sites else None

    def take_back(self, key: SeriesKey, *, entry_no: int, why: str) -> CheckSeries:
        """Raises: AccessRefused; FollowupError FUP-014, EQP-024."""
        _, actor = self._kept(key[0])
        with self.store.writing() as writing:
            known = load_record(writing, CHECKS, series_id(*key))
            return change_record(
                writing,
                CHECKS,
                series_id(*key),
                lambda _: checks.take_back(known, entry_no=entry_no, why=why),
                by=actor.user_id,
                at=self.at,
            )


def acceptance_of(
    log: DeviceLog, entry_no: int, series: Sequence[CheckSeries], rules: CheckRules
) -> dict[SeriesKey, Acceptance]:
    """What each series of the device says after one of its events."""
    entry = log.entry(entry_no)
    if entry is None:
        return {}
    found = {}
    for one in series:
        breaks = log.breaks(one.probe)
        event = next((b for b in breaks if b.entry_no == entry_no), None)
        if event is not None:
            found[one.key] = compare_after(one.sessions, event=event, breaks=breaks, rules=rules)
    return found
