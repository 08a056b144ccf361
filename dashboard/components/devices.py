"""A site's devices as a table."""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.basics import section
from dashboard.components.tables import table
from qa.views import words
from qa.views.site import SiteView


def devices_section(view: SiteView) -> Component | None:
    """The site's devices and what each needs; nothing where no exam names a device."""
    if not view.devices:
        return None
    rows = [
        (
            row.name,
            row.techniques,
            words.whole(row.n),
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
