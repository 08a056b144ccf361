"""The register of devices from the command line: events, sign-off, who waits for what."""

import argparse
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import a_day, add_command, now
from qa.cli.who import acting, add_by
from qa.model.equipment_words import DeviceEventKind


def add_devices(commands: Any) -> None:
    parser = add_command(
        commands,
        "devices",
        run_list,
        short="keep the register of devices, sign off after an event",
        long="Devices, probes, software versions and calibrations, with dated events. An event "
        "ends the baseline of what was measured with the device; until somebody signs it off on a "
        "phantom check, exams made with it are marked.",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    add_command(actions, "list", run_list, short="every device", long="Every device, as it stands.")
    one = add_command(actions, "show", run_show, short="one device", long="One device's log.")
    one.add_argument("device", metavar="DEVICE", help="as in network.toml")
    _add_enter(actions)
    _add_sign_off(actions)


def _add_enter(actions: Any) -> None:
    parser = add_command(
        actions, "enter", run_enter, short="write down an event", long="Write down an event."
    )
    parser.add_argument("device", metavar="DEVICE", help="as in network.toml")
    listed = ", ".join(f'"{one}"' for one in DeviceEventKind)
    parser.add_argument("kind", metavar="KIND", help=f"what happened: {listed}")
    add_day(parser, "--on", "when it happened")
    parser.add_argument("--probe", metavar="P", default="", help="which probe (default: all of it)")
    parser.add_argument(
        "--to",
        metavar="WORDS",
        default="",
        help="what it is since: serial code of the probe, software version, place",
    )
    parser.add_argument("--certificate", metavar="NUMBER", default="", help="of a calibration")
    parser.add_argument(
        "--due", type=a_day, metavar="YYYY-MM-DD", help="when the next calibration is due"
    )
    parser.add_argument("--words", metavar="WORDS", default="", help="what was done")
    add_by(parser)


def _add_sign_off(actions: Any) -> None:
    parser = add_command(
        actions,
        "sign-off",
        run_sign_off,
        short="release a device after an event",
        long="Release a device after an event. It needs a phantom check since then; what the check "
        "says against the baseline before is kept with the sign-off.",
    )
    parser.add_argument("device", metavar="DEVICE", help="as in network.toml")
    parser.add_argument("entry", type=int, metavar="N", help="number of the event, as 'show' says")
    add_day(parser, "--on", "from which day the device may be trusted again")
    parser.add_argument("--words", metavar="WORDS", required=True, help="the verdict in words")
    add_by(parser)


def add_day(parser: Any, option: str, help: str) -> None:
    parser.add_argument(option, type=a_day, metavar="YYYY-MM-DD", required=True, help=help)


def equipment_desk(arguments: argparse.Namespace, environ: Mapping[str, str]) -> Any:
    from qa.jobs.followup.equipment import EquipmentDesk
    from qa.jobs.followup.opening import open_network, open_record

    actor = acting(arguments, environ)
    store = open_record(arguments.network, environ=environ)
    return EquipmentDesk(store, open_network(arguments.network), actor, now())


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.equipment_lines import device_lines

    print("\n".join(device_lines(equipment_desk(arguments, environ))))
    return 0


def run_show(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.equipment_lines import log_lines

    print("\n".join(log_lines(equipment_desk(arguments, environ), arguments.device)))
    return 0


def run_enter(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.equipment import EntryForm

    form = EntryForm(
        kind=arguments.kind,
        day=arguments.on,
        probe=arguments.probe,
        to=arguments.to,
        certificate=arguments.certificate,
        words=arguments.words,
        due_on=arguments.due,
    )
    log = equipment_desk(arguments, environ).enter(arguments.device, form)
    entry = log.entries[-1]
    print(f"{log.device_id}, entry {entry.no}: {entry.kind} on {entry.day} is written down.")
    if entry.is_open:
        print("Exams with it are marked until it is signed off on a phantom check.")
    return 0


def run_sign_off(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    log = equipment_desk(arguments, environ).sign_off(
        arguments.device, entry_no=arguments.entry, day=arguments.on, words=arguments.words
    )
    print(f"{log.device_id}, entry {arguments.entry}: signed off from {arguments.on} on.")
    return 0
