"""A site's devices as a table."""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.basics import link, section
from dashboard.components.exams import exams_behind
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.model.months import add_months
from qa.model.words import UnitKind
from qa.views import words
from qa.views.devices import MONTHS, DeviceRow
from qa.views.site import SiteView


def devices_section(view: SiteView, context: Context) -> Component | None:
    """The site's devices and what each needs; nothing where no exam names a device."""
    if not view.devices:
        return None
    rows = [
        (
            row.name,
            row.techniques,
            _exams(row, view, context),
            row.not_reliable_text,
            row.newest,
            row.need or "nothing stands out",
        )
        for row in view.devices
    ]
    return section(
        "Devices, last twelve months",
        html.P(
            "A device stands out where the people who use it moved together on it and not "
            "elsewhere. Shares are not adjusted: devices see other operators and other patients.",
            className="note",
        ),
        table(
            f"Devices of {view.site_name} in the twelve months to {view.month_text}",
            (
                "Device",
                "Technique",
                "Exams judged",
                "Not reliable (95 % interval)",
                "Newest exams",
                "Service",
            ),
            rows,
            numeric=(2, 3),
            long=(5,),
        ),
        id=ids.Site.DEVICES,
    )


def _exams(row: DeviceRow, view: SiteView, context: Context) -> Component | str:
    """The device's judged exams at the site, one by one."""
    href = exams_behind(
        context,
        unit_kind=UnitKind.DEVICE,
        unit_id=row.device_id,
        site_id=view.site_id,
        measure_id=context.published.definitions.measure_by_key("not_reliable").id,
        since=f"{add_months(view.month, 1 - MONTHS):%Y-%m}",
    )
    return link(words.whole(row.n), href) if href else words.whole(row.n)
