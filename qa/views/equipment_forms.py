"""Forms of the register, of phantom checks and of rounds."""

from collections.abc import Sequence
from dataclasses import replace

from qa.followup.device_log import DeviceLog, entry_words
from qa.followup.phantoms import Phantom
from qa.followup.rounds import Round
from qa.model.equipment_words import AssignedBy, DeviceEventKind, Quantity, RoundItem
from qa.model.words import Probe
from qa.views.case_page import CHOICE, DAY, LINE, NUMBER, TEXT, Field, FormShown

_ON = Field("day", "On which day", DAY)
_WORDS = Field("words", "In words", TEXT, is_needed=False)
_DEVICE = Field("device_id", "Device", CHOICE)
_PROBE = Field("probe", "Probe", CHOICE)
_PHANTOM = Field("phantom_id", "Phantom", CHOICE)


def _options(values: Sequence[str], *, none: str = "choose") -> tuple[tuple[str, str], ...]:
    return (("", none), *((str(one), str(one)) for one in values))


def device_forms(
    *,
    devices: Sequence[str],
    device_id: str,
    log: DeviceLog | None,
    phantoms: Sequence[Phantom],
    may_keep: bool,
    may_register: bool,
) -> tuple[FormShown, ...]:
    """What may be entered: a check, an event, a sign-off where one waits, a phantom.

    Args: devices: those that this person keeps. device_id: the one chosen already, or "".
    """
    chosen = replace(_DEVICE, options=_options(devices), value=device_id)
    forms: list[FormShown] = []
    if may_keep and log is not None and log.open_entries:
        forms.append(_sign_off(chosen, log))
    if may_keep and phantoms:
        forms.append(_check(chosen, [one.phantom_id for one in phantoms if not one.is_retired]))
    if may_keep:
        forms.append(_event(chosen))
    if may_register:
        forms.append(_register())
    return tuple(forms)


def _sign_off(chosen: Field, log: DeviceLog) -> FormShown:
    entries = tuple((str(one.no), f"{entry_words(one)}, {one.day}") for one in log.open_entries)
    return FormShown(
        "sign-off",
        "Sign off after an event",
        "Sign off",
        (
            chosen,
            Field("entry_no", "Event", CHOICE, entries),
            replace(_ON, label="From which day the device may be trusted"),
            replace(
                _WORDS,
                label="Verdict",
                is_needed=True,
                hint="What the acceptance run says against the baseline before is kept with it",
            ),
        ),
    )


def _check(chosen: Field, phantoms: Sequence[str]) -> FormShown:
    return FormShown(
        "check",
        "Phantom check",
        "Keep the check",
        (
            chosen,
            replace(_PROBE, options=_options(list(Probe))),
            replace(_PHANTOM, options=_options(phantoms)),
            _ON,
            Field(
                "values", "Single measurements", LINE, hint="ten as a rule, with a space between"
            ),
            Field("operator_id", "Operator's code", LINE, is_needed=False),
            Field("temperature", "Temperature, °C", NUMBER, is_needed=False),
        ),
    )


def _event(chosen: Field) -> FormShown:
    return FormShown(
        "event",
        "Something happened to a device",
        "Write it down",
        (
            chosen,
            Field("kind", "What happened", CHOICE, _options(list(DeviceEventKind))),
            replace(
                _PROBE,
                options=_options(list(Probe), none="the whole device"),
                is_needed=False,
            ),
            _ON,
            Field(
                "to",
                "What it is since",
                LINE,
                hint="serial code of the probe, software version, place",
                is_needed=False,
            ),
            Field("certificate", "Certificate of a calibration", LINE, is_needed=False),
            Field("due_on", "Next calibration by", DAY, is_needed=False),
            _WORDS,
        ),
    )


def _register() -> FormShown:
    return FormShown(
        "phantom",
        "Register a phantom, or its next certificate",
        "Register",
        (
            Field("phantom_id", "Its id", LINE),
            Field("name", "A few words that name it", LINE, is_needed=False),
            Field("quantity", "Of what", CHOICE, _options(list(Quantity))),
            Field("value", "Certified value, kPa or dB/m", NUMBER),
            Field("expanded", "Expanded uncertainty (factor 2)", NUMBER),
            Field("certificate", "Number of the certificate", LINE),
            Field("issued_on", "Issued", DAY),
            Field("expires_on", "Counts until", DAY),
            Field("site_id", "Site where it stays", LINE, hint="none: it travels", is_needed=False),
        ),
    )


def round_forms(
    one: Round | None,
    *,
    devices: Sequence[str],
    phantoms: Sequence[Phantom],
    may_run: bool,
) -> tuple[FormShown, ...]:
    """Plan a round; or report to an open one and close it. devices: of this person's sites."""
    if one is None:
        return (_plan([one.phantom_id for one in phantoms]),) if may_run else ()
    if one.is_closed:
        return ()
    forms = []
    mine = [device for device in one.plan.participants if device in devices]
    if mine:
        forms.append(_report(one, mine))
    if may_run and one.results:
        forms.append(FormShown("close", "Close the round", "Close", (_WORDS,)))
    return tuple(forms)


def _report(one: Round, devices: Sequence[str]) -> FormShown:
    return FormShown(
        "report",
        "Report a result",
        "Report",
        (
            replace(_DEVICE, options=_options(devices)),
            Field("value", f"Mean or median, {one.unit}", NUMBER),
            Field("uncertainty", "Its standard uncertainty", NUMBER, is_needed=False),
            Field("n", "How many measurements", NUMBER, value="10"),
        ),
    )


def _plan(phantoms: Sequence[str]) -> FormShown:
    return FormShown(
        "plan",
        "Plan a round",
        "Plan",
        (
            Field("title", "A few words that name it", LINE),
            Field("item", "What travels", CHOICE, _options(list(RoundItem))),
            Field("quantity", "Of what", CHOICE, _options(list(Quantity))),
            replace(_PHANTOM, options=_options(phantoms, none="none"), is_needed=False),
            Field("assigned_by", "The value is set by", CHOICE, _options(list(AssignedBy))),
            Field(
                "sigma",
                "Standard deviation that is allowed",
                NUMBER,
                hint="none: the robust one of the results",
                is_needed=False,
            ),
            Field("opens_on", "First day", DAY),
            Field("closes_on", "Last day", DAY),
            Field("devices", "Devices that take part", TEXT, hint="ids, with a space between"),
        ),
    )
