"""Plain pages with the forms of devices, phantoms and rounds."""

from collections.abc import Callable

from flask import Flask, Response, request
from werkzeug.datastructures import MultiDict

from dashboard.addresses import Form, Page, address
from dashboard.case_actions import read_day, read_number
from dashboard.case_pages import MakeDesk, answer_form, form_page
from dashboard.plain import see_other
from dashboard.source import PublishedSource
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.equipment import CertificateForm, CheckForm, EntryForm, EquipmentDesk
from qa.jobs.followup.rounds import RoundDesk, RoundPlan
from qa.model.errors import FollowupError
from qa.model.permissions import Permission, may
from qa.model.published import Published
from qa.views.equipment_forms import device_forms, round_forms

Sent = MultiDict[str, str]


def add_equipment_pages(
    server: Flask, published_source: PublishedSource, make_desk: MakeDesk, *, prefix: str
) -> None:
    """Add both pages; each shows (GET) and takes its own forms (POST)."""
    for form, name, make in (
        (Form.DEVICE, "device-forms", _device),
        (Form.ROUND, "round-forms", _round),
    ):
        server.add_url_rule(
            prefix.rstrip("/") + form.value,
            name,
            lambda make=make: answer_form(make, published_source, make_desk, prefix=prefix),
            methods=["GET", "POST"],
        )


def _kept_devices(desk: CaseDesk, published: Published) -> list[str]:
    return [
        one.id
        for one in published.network.devices
        if may(desk.actor, Permission.KEEP_EQUIPMENT, site_id=one.site)
    ]


def _device(desk: CaseDesk, published: Published, prefix: str) -> Response:
    work, message = EquipmentDesk(desk.store, published.network, desk.actor, desk.at), ""
    device_id = request.values.get("device", request.values.get("device_id", ""))[:60]
    if request.method == "POST":
        try:
            _action(DEVICE_ACTIONS)(work, request.form)
            return see_other(address(Page.DEVICES, prefix=prefix))
        except FollowupError as problem:
            message = problem.message
    known = work.equipment()
    devices = _kept_devices(desk, published)
    log = known.logs.get(device_id)
    return form_page(
        published.network.name,
        prefix,
        message=message,
        answer=f"Device {device_id}" if log else "Devices and phantoms",
        forms=device_forms(
            devices=devices,
            device_id=device_id if device_id in devices else "",
            log=log,
            phantoms=list(known.phantoms.values()),
            may_keep=bool(devices),
            may_register=may(desk.actor, Permission.RUN_ROUNDS),
        ),
        sent_what=request.form.get("what", ""),
        action=address(Form.DEVICE, prefix=prefix),
        hidden=(("device", device_id),) if log else (),
        here=Page.DEVICES,
    )


def _round(desk: CaseDesk, published: Published, prefix: str) -> Response:
    work, message = RoundDesk(desk.store, published.network, desk.actor, desk.at), ""
    round_id = request.values.get("round", "")[:60]
    if request.method == "POST":
        try:
            done = _action(ROUND_ACTIONS)(work, request.form)
            where = address(Page.ROUNDS, prefix=prefix, round=done.round_id)
            return see_other(where)
        except FollowupError as problem:
            message = problem.message
    one = work.round(round_id) if round_id else None
    register = EquipmentDesk(desk.store, published.network, desk.actor, desk.at).equipment()
    return form_page(
        published.network.name,
        prefix,
        message=message,
        answer=one.plan.title if one else "What is to be compared?",
        items=("The round is closed.",) if one and one.is_closed else (),
        forms=round_forms(
            one,
            devices=_kept_devices(desk, published),
            phantoms=list(register.phantoms.values()),
            may_run=may(desk.actor, Permission.RUN_ROUNDS),
        ),
        sent_what=request.form.get("what", ""),
        action=address(Form.ROUND, prefix=prefix),
        hidden=(("round", round_id),) if one else (),
        here=Page.ROUNDS,
    )


def _action(known: dict[str, Callable]) -> Callable:
    what = request.form.get("what", "")
    if what not in known:
        raise FollowupError("no such form", code="FUP-038")
    return known[what]


def _figure(sent: Sent, name: str) -> float | None:
    return read_number(sent, name) if sent.get(name, "").strip() else None


def _sign_off(desk: EquipmentDesk, sent: Sent) -> object:
    return desk.sign_off(
        sent.get("device_id", ""),
        entry_no=int(read_number(sent, "entry_no")),
        day=read_day(sent, "day"),
        words=sent.get("words", ""),
    )


def _check(desk: EquipmentDesk, sent: Sent) -> object:
    try:
        values = tuple(float(one) for one in sent.get("values", "").split())
    except ValueError:
        raise FollowupError(
            "these are no numbers",
            where="single measurements",
            expected="numbers with a decimal point, and a space between",
            code="FUP-037",
        ) from None
    form = CheckForm(
        device_id=sent.get("device_id", ""),
        probe=sent.get("probe", ""),
        phantom_id=sent.get("phantom_id", ""),
        day=read_day(sent, "day"),
        values=values,
        operator_id=sent.get("operator_id", ""),
        temperature_c=_figure(sent, "temperature"),
    )
    return desk.measure([form])


def _event(desk: EquipmentDesk, sent: Sent) -> object:
    form = EntryForm(
        kind=sent.get("kind", ""),
        day=read_day(sent, "day"),
        probe=sent.get("probe", ""),
        to=sent.get("to", ""),
        certificate=sent.get("certificate", ""),
        words=sent.get("words", ""),
        due_on=read_day(sent, "due_on") if sent.get("due_on") else None,
    )
    return desk.enter(sent.get("device_id", ""), form)


def _phantom(desk: EquipmentDesk, sent: Sent) -> object:
    certificate = CertificateForm(
        number=sent.get("certificate", ""),
        value=read_number(sent, "value"),
        expanded=read_number(sent, "expanded"),
        issued_on=read_day(sent, "issued_on"),
        expires_on=read_day(sent, "expires_on"),
    )
    phantom_id = sent.get("phantom_id", "")
    if phantom_id in desk.equipment().phantoms:
        return desk.certify_anew(phantom_id, certificate=certificate)
    return desk.register_phantom(
        phantom_id,
        name=sent.get("name", ""),
        quantity=sent.get("quantity", ""),
        site_id=sent.get("site_id", ""),
        certificate=certificate,
    )


def _plan(desk: RoundDesk, sent: Sent) -> object:
    return desk.plan(
        RoundPlan(
            title=sent.get("title", ""),
            item=sent.get("item", ""),
            quantity=sent.get("quantity", ""),
            phantom_id=sent.get("phantom_id", ""),
            participants=tuple(sent.get("devices", "").split()),
            opens_on=read_day(sent, "opens_on"),
            closes_on=read_day(sent, "closes_on"),
            assigned_by=sent.get("assigned_by", ""),
            sigma=_figure(sent, "sigma"),
        )
    )


def _report(desk: RoundDesk, sent: Sent) -> object:
    return desk.report(
        sent.get("round", ""),
        participant=sent.get("device_id", ""),
        value=read_number(sent, "value"),
        uncertainty=_figure(sent, "uncertainty"),
        n=int(read_number(sent, "n")),
    )


def _close(desk: RoundDesk, sent: Sent) -> object:
    return desk.close(sent.get("round", ""), words=sent.get("words", ""))


DEVICE_ACTIONS: dict[str, Callable] = {
    "sign-off": _sign_off,
    "check": _check,
    "event": _event,
    "phantom": _phantom,
}
ROUND_ACTIONS: dict[str, Callable] = {"plan": _plan, "report": _report, "close": _close}
