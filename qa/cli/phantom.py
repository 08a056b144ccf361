"""Phantoms and their checks from the command line."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from qa.cli.devices import add_day, equipment_desk
from qa.cli.shared import add_command
from qa.cli.who import add_by
from qa.model.equipment_words import Quantity
from qa.model.errors import FollowupError, WrongUse


def add_phantom(commands: Any) -> None:
    parser = add_command(
        commands,
        "phantom",
        run_list,
        short="keep phantoms and their checks",
        long="Phantoms with their certificates, and checks of each device, probe and phantom: "
        "against the certificate while the first ten sessions make a baseline, then against it. "
        "Multirules are named as published (Westgard 1981).",
        network=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    add_command(
        actions,
        "list",
        run_list,
        short="phantoms, newest checks, what is due",
        long="Phantoms, the newest check of each device, what is overdue or expired.",
    )
    _add_register(actions)
    _add_retire(actions)
    _add_check(actions)
    _add_read(actions)
    _add_take_back(actions)


def _add_register(actions: Any) -> None:
    parser = add_command(
        actions,
        "register",
        run_register,
        short="register a phantom, or its next certificate",
        long="Register a phantom with its certificate; for one that is there, its next one.",
    )
    parser.add_argument("phantom", metavar="PHANTOM", help="its id, free to choose")
    parser.add_argument("--name", metavar="WORDS", default="", help="a few words that name it")
    parser.add_argument(
        "--quantity",
        metavar="WORD",
        default=Quantity.STIFFNESS,
        help=f"{' or '.join(Quantity)} (default: stiffness)",
    )
    parser.add_argument(
        "--value", type=float, metavar="X", required=True, help="certified value, kPa or dB/m"
    )
    parser.add_argument(
        "--expanded",
        type=float,
        metavar="U",
        required=True,
        help="its expanded uncertainty (coverage factor 2)",
    )
    parser.add_argument("--certificate", metavar="NUMBER", required=True, help="its number")
    add_day(parser, "--issued", "day of the certificate")
    add_day(parser, "--expires", "last day on which it counts")
    parser.add_argument("--site", metavar="S", default="", help="where it stays (default: travels)")
    add_by(parser)


def _add_retire(actions: Any) -> None:
    parser = add_command(
        actions, "retire", run_retire, short="take a phantom out of use", long="Out of use."
    )
    parser.add_argument("phantom", metavar="PHANTOM", help="its id")
    parser.add_argument("--why", metavar="WORDS", required=True, help="the reason")
    add_by(parser)


def _series(parser: Any) -> None:
    parser.add_argument("device", metavar="DEVICE", help="as in network.toml")
    parser.add_argument("--probe", metavar="P", required=True, help="for example standard")
    parser.add_argument("--phantom", metavar="PHANTOM", required=True, help="id of the phantom")


def _add_check(actions: Any) -> None:
    parser = add_command(
        actions, "check", run_check, short="enter one check", long="Enter one check."
    )
    _series(parser)
    add_day(parser, "--on", "day of the check")
    parser.add_argument(
        "--values",
        type=float,
        nargs="+",
        metavar="X",
        required=True,
        help="single measurements, ten as a rule",
    )
    parser.add_argument("--operator", metavar="CODE", default="", help="who measured")
    parser.add_argument("--temperature", type=float, metavar="C", help="of the phantom, in °C")
    add_by(parser)


def _add_read(actions: Any) -> None:
    parser = add_command(
        actions,
        "read",
        run_read,
        short="read checks from a CSV file",
        long="Read checks from a CSV file: day, device, probe, phantom, unit, value_1, value_2 … "
        "and, if any, operator and temperature_c. All of its rows are kept, or none.",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the file")
    add_by(parser)


def _add_take_back(actions: Any) -> None:
    parser = add_command(
        actions,
        "take-back",
        run_take_back,
        short="a check that was entered wrongly counts no more",
        long="A check that was entered wrongly counts no more; it stays in the record.",
    )
    _series(parser)
    parser.add_argument("--entry", type=int, metavar="N", required=True, help="its number")
    parser.add_argument("--why", metavar="WORDS", required=True, help="the reason")
    add_by(parser)


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.equipment_lines import phantom_lines

    print("\n".join(phantom_lines(equipment_desk(arguments, environ))))
    return 0


def run_register(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.equipment import CertificateForm

    desk = equipment_desk(arguments, environ)
    certificate = CertificateForm(
        number=arguments.certificate,
        value=arguments.value,
        expanded=arguments.expanded,
        issued_on=arguments.issued,
        expires_on=arguments.expires,
    )
    if arguments.phantom in desk.equipment().phantoms:
        desk.certify_anew(arguments.phantom, certificate=certificate)
        print(f"{arguments.phantom}: the next certificate is kept.")
        return 0
    desk.register_phantom(
        arguments.phantom,
        name=arguments.name,
        quantity=arguments.quantity,
        site_id=arguments.site,
        certificate=certificate,
    )
    print(f"{arguments.phantom} is registered until {arguments.expires}.")
    return 0


def run_retire(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    equipment_desk(arguments, environ).retire_phantom(arguments.phantom, why=arguments.why)
    print(f"{arguments.phantom} is out of use; its checks stay.")
    return 0


def run_check(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.equipment import CheckForm
    from qa.jobs.followup.equipment_lines import newest_line

    desk = equipment_desk(arguments, environ)
    form = CheckForm(
        device_id=arguments.device,
        probe=arguments.probe,
        phantom_id=arguments.phantom,
        day=arguments.on,
        values=tuple(arguments.values),
        operator_id=arguments.operator,
        temperature_c=arguments.temperature,
    )
    (series,) = desk.measure([form])
    print(newest_line(desk, series.key))
    return 0


def run_read(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    path: Path = arguments.file
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as problem:
        raise WrongUse(
            f"cannot be read ({problem.strerror})", where=str(path), code="USE-060"
        ) from None
    except UnicodeDecodeError:
        raise FollowupError(
            "is no UTF-8 text", where=path.name, todo="Nothing was kept", code="EQP-030"
        ) from None
    found = equipment_desk(arguments, environ).measure_file(text, name=path.name)
    print(f"{path.name}: {len(found)} checks are kept.")
    return 0


def run_take_back(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    key = (arguments.device, arguments.probe, arguments.phantom)
    equipment_desk(arguments, environ).take_back(key, entry_no=arguments.entry, why=arguments.why)
    print(f"Check {arguments.entry} counts no more; it stays in the record.")
    return 0
