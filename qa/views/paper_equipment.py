"""Devices of a document: how much they are used, the register, and phantom checks."""

from collections.abc import Sequence
from datetime import date

from qa.model.published import Published
from qa.views import words
from qa.views.devices import DeviceRow
from qa.views.equipment import DeviceLine, EquipmentView, SeriesLine, equipment_view
from qa.views.pack_facts import PackFacts
from qa.views.paper import Block, Cell, Grid, Head, Look, Mark, Para, Section
from qa.views.shown import Figure

TITLE = "Devices and phantom checks"
NOTE = (
    "Bias: session mean against the phantom's certificate. Deviation: against the device's own "
    "baseline on that phantom. Scatter: spread of the session's measurements. A check judges the "
    "device, never a patient; patients' values are never corrected."
)


def pack_equipment(
    published: Published, facts: PackFacts | None, *, on: date, site_id: str | None
) -> EquipmentView | None:
    """The Devices screen of one site, or of the network; None where no register is kept."""
    if facts is None or not (facts.logs or facts.series):
        return None
    return equipment_view(
        network=published.network,
        logs=facts.logs,
        phantoms=facts.phantoms,
        series=facts.series,
        charts=facts.charts,
        published=published,
        rules=facts.rules,
        on=on,
        site_id=site_id,
    )


def equipment_section(view: EquipmentView | None, used: Sequence[DeviceRow] = ()) -> Section:
    """Args: used: devices with exams at the site in the last twelve months; none for a network."""
    blocks: list[Block] = []
    if view is None:
        blocks.append(Para("No register of devices is kept with this network.", Look.SMALL))
    else:
        blocks.append(Para(view.answer, figure=Figure("devices", "devices", view.answer, None)))
        blocks.append(Para(view.subline, Look.NOTE))
    if used:
        blocks += [Head("In use over twelve months"), _used(used)]
    if view is not None and view.devices:
        blocks += [Head("Register"), _register(view.devices)]
    if view is not None:
        blocks += [Head("Newest phantom checks"), *_checks(view.series)]
        if view.phantoms:
            blocks += [Head("Phantoms"), _phantoms(view)]
        blocks += [Para(words.as_sentence(one), Look.SMALL) for one in view.moves]
        blocks.append(Para(NOTE, Look.NOTE))
    return Section("devices", TITLE, tuple(blocks), room=150.0)


def _used(rows: Sequence[DeviceRow]) -> Grid:
    found = tuple(
        (
            Para(row.name, Look.SMALL),
            row.techniques,
            Figure(f"device.{row.device_id}.n", "exams", words.whole(row.n), float(row.n), row.n),
            Para(
                row.not_reliable_text,
                Look.SMALL,
                Figure(
                    f"device.{row.device_id}.share", "not reliable", row.not_reliable_text, None
                ),
            ),
            row.newest,
            Para(row.need or "nothing", Look.SMALL),
        )
        for row in rows
    )
    headings = ("Device", "Technique", "Exams", "Not reliable", "Newest exam", "Needs")
    return Grid("Devices in use", headings, found, (16, 12, 9, 19, 17, 27))


def _register(rows: Sequence[DeviceLine]) -> Grid:
    found = tuple(
        tuple(
            Para(text, Look.SMALL)
            for text in (
                row.device_id,
                row.site_name,
                row.software,
                row.probes,
                row.calibration,
                row.waits,
            )
        )
        for row in rows
    )
    headings = ("Device", "Site", "Software", "Probes", "Calibrated", "Waits for a sign-off")
    return Grid("Register of devices", headings, found, (10, 17, 15, 22, 18, 18))


def _checks(rows: Sequence[SeriesLine]) -> list[Block]:
    if not rows:
        return [Para("No phantom was measured.", Look.SMALL)]
    found = tuple(_check(row) for row in rows)
    headings = ("Device, probe, phantom", "State", "Day", "Bias", "Deviation", "Scatter", "Due")
    return [Grid("Newest phantom checks", headings, found, (28, 20, 13, 9, 11, 9, 13))]


def _check(row: SeriesLine) -> tuple[Cell, ...]:
    name = f"check.{row.series_id}"
    state = Mark(row.mark, row.state) if row.mark else Para(row.state, Look.SMALL)
    return (
        Para(", ".join(row.key), Look.SMALL),
        (state, Para(row.rules, Look.NOTE)) if row.rules else state,
        row.day,
        Figure(f"{name}.bias", "bias", row.bias, None),
        Figure(f"{name}.deviation", "deviation", row.deviation, None),
        Figure(f"{name}.scatter", "scatter", row.scatter, None),
        Para(row.due, Look.SMALL),
    )


def _phantoms(view: EquipmentView) -> Grid:
    rows = tuple(tuple(Para(text, Look.SMALL) for text in one) for one in view.phantoms)
    return Grid(
        "Phantoms", ("Phantom", "Certified", "Where", "Certificate"), rows, (15, 22, 23, 40)
    )
