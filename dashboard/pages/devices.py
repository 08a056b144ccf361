"""Devices: can the equipment be believed?"""

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Form, Page, address
from dashboard.check_figures import check_chart
from dashboard.components.basics import file_link, link, section, state_mark
from dashboard.components.charts import graph
from dashboard.components.choices import select
from dashboard.components.shell import message_screen, screen
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.jobs.followup.equipment import Equipment, EquipmentDesk
from qa.views.equipment import EquipmentView, equipment_view


def read_devices(context: Context) -> tuple[EquipmentView, Equipment] | None:
    """What the address asks for, and what it is made from; None where no store is kept."""
    if context.desk is None:
        return None
    case_desk, published = context.desk, context.published
    desk = EquipmentDesk(case_desk.store, published.network, case_desk.actor, case_desk.at)
    known, chosen = desk.equipment(), context.selection
    view = equipment_view(
        network=published.network,
        logs=known.logs,
        phantoms=known.phantoms,
        series=known.series,
        charts=known.charts,
        published=published,
        rules=desk.rules,
        on=desk.today,
        site_id=chosen.site_id,
        chosen=chosen.series,
    )
    return view, known


def layout(context: Context) -> Component:
    read = read_devices(context)
    if read is None:
        return message_screen(
            "No register of devices is kept here.",
            "These screens were started without the follow-up store.",
            prefix=context.prefix,
        )
    view = read[0]
    return screen(
        context,
        Page.DEVICES,
        answer=view.answer,
        subline=view.subline,
        children=[
            _choices(context),
            _moves(view),
            _waiting(view, context),
            _chart(view),
            _patients(view),
            _checks(view, context),
            _register(view, context),
            _phantoms(view, context),
        ],
    )


def _choices(context: Context) -> Component:
    def here(**changes: Any) -> str:
        return context.here(Page.DEVICES, **changes)

    sites = [("All sites", here(site=None, series=None))]
    sites += [(one.name, here(site=one.id, series=None)) for one in context.published.network.sites]
    chosen = here(series=None)
    return html.Div([select("Devices of", sites, chosen=chosen)], className="choices")


def _moves(view: EquipmentView) -> Component | None:
    if not view.moves:
        return None
    return html.Div([html.P(one) for one in view.moves], className="caution", role="note")


def _waiting(view: EquipmentView, context: Context) -> Component | None:
    if not view.waiting:
        return None
    rows = [
        (
            _form_link(one.device_id, context, device=one.device_id),
            f"{one.words}, {one.day}",
            str(one.n_exams),
            one.newest_exam,
            "; ".join(f"{phantom}: {said}" for phantom, said in one.on_phantoms) or "not measured",
        )
        for one in view.waiting
    ]
    return section(
        "Waits for a sign-off",
        table(
            "Events without sign-off",
            ("Device", "Event", "Exams since", "Newest", "On phantoms since"),
            rows,
            numeric=(2,),
            long=(4,),
        ),
        id=ids.Devices.WAITING,
        note="Exams since the event are marked until a person signs the device off on a phantom "
        "check.",
    )


def _chart(view: EquipmentView) -> Component | None:
    if view.chart is None:
        return None
    figure = html.Figure(
        [
            html.Figcaption(view.chart.finding),
            graph(check_chart(view.chart), "380px", id=ids.Devices.CHART),
            html.P(view.chart.note, className="note"),
            html.Details([html.Summary("Table"), _points(view)]),
        ],
        className="chart",
    )
    return section("One series", figure, id=ids.Devices.SERIES)


def _patients(view: EquipmentView) -> Component | None:
    if view.chart is None:
        return None
    return section(
        f"{view.chart.key[0]} in its patients",
        table(
            "Stiffness of patients on the device",
            ("Compared", "Stiffness (95 % interval)", "Exams"),
            view.patients,
        ),
        id=ids.Devices.PATIENTS,
        note="Beside the phantom's evidence, adjusted for operator, probe, sex, indication, age "
        "and body-mass index. Patients' values are never corrected.",
    )


def _points(view: EquipmentView) -> Component:
    assert view.chart is not None
    rows = [
        (
            str(one.session.day),
            f"{one.session.mean:.4g}",
            f"{one.session.sd:.2g}",
            str(len(one.session.values)),
            _pair(one.limits),
            _pair(one.mean_limits),
            _pair(one.sd_limits),
            f"{one.state} {one.why}".strip(),
        )
        for one in reversed(view.chart.points)
    ]
    headings = (
        "Day",
        f"Mean ({view.chart.unit})",
        "Sd",
        "n",
        "Limits of single means",
        "X̄ limits",
        "S limits",
        "State",
    )
    return table(f"Sessions of {view.chart.finding}", headings, rows, numeric=(1, 2, 3), long=(7,))


def _pair(limits: tuple[float, float] | None) -> str:
    return "–" if limits is None else f"{limits[0]:.4g} to {limits[1]:.4g}"


def _checks(view: EquipmentView, context: Context) -> Component:
    rows = [
        (
            link(
                f"{one.key[0]}, {one.key[1]}, {one.key[2]}",
                context.here(Page.DEVICES, series=one.series_id),
            ),
            state_mark(one.mark, word=one.state) if one.mark else one.state,
            one.day,
            one.bias,
            one.deviation,
            one.scatter,
            one.rules,
            one.due,
        )
        for one in view.series
    ]
    headings = (
        "Device, probe, phantom",
        "State",
        "Newest",
        "From certificate",
        "From baseline",
        "Scatter (CV)",
        "Why",
        "Next check",
    )
    return section(
        "Phantom checks",
        table("Newest phantom checks", headings, rows, numeric=(3, 4, 5), long=(6,))
        if rows
        else html.P("None."),
        html.P(
            [
                _form_link("Enter a check", context),
                file_link("CSV of all checks", context.here(Download.CHECKS, series=None)),
            ],
            className="links",
        ),
        id=ids.Devices.CHECKS,
    )


def _form_link(text: str, context: Context, **query: str) -> Component:
    return html.A(text, href=address(Form.DEVICE, prefix=context.prefix, **query))


def _register(view: EquipmentView, context: Context) -> Component:
    rows = [
        (
            _form_link(one.device_id, context, device=one.device_id),
            one.site_name,
            one.software,
            one.probes,
            one.calibration,
            one.waits,
            one.newest,
        )
        for one in view.devices
    ]
    return section(
        "Register",
        table(
            "Devices",
            ("Device", "Site", "Software", "Probes", "Calibrated", "Waits for", "Newest check"),
            rows,
            long=(3, 5),
        ),
        id=ids.Devices.REGISTER,
    )


def _phantoms(view: EquipmentView, context: Context) -> Component:
    return section(
        "Phantoms",
        table(
            "Phantoms", ("Phantom", "Certified", "Where", "Certificate"), view.phantoms, long=(3,)
        )
        if view.phantoms
        else html.P("None is registered."),
        html.P(_form_link("Register a phantom", context), className="links"),
        id=ids.Devices.PHANTOMS,
    )
