"""Charts with the notes that whoever reads may see."""

from collections.abc import Iterable
from datetime import date

from dash import html
from dash.development.base_component import Component

from dashboard.addresses import Form, address
from dashboard.selection import Context
from qa.jobs.followup.annotations import list_annotations
from qa.jobs.users.opening import names_of_people
from qa.model.permissions import Permission, may
from qa.views.chart_notes import chart_notes, with_notes
from qa.views.shown import ChartNote, ChartView


def noted(context: Context, views: Iterable[ChartView]) -> list[ChartView]:
    """The charts with their notes; as they are where no decisions are kept."""
    desk = context.desk
    if desk is None:
        return list(views)
    found = list_annotations(desk.store, actor=desk.actor)
    names = names_of_people(desk.store)
    network = context.published.network
    return [with_notes(view, found, network=network, names=names) for view in views]


def notes_between(
    context: Context, *, unit_kind: str, unit_id: str, first_month: date, last_month: date
) -> tuple[ChartNote, ...]:
    desk = context.desk
    if desk is None:
        return ()
    return chart_notes(
        list_annotations(desk.store, actor=desk.actor),
        unit_kind=unit_kind,
        unit_id=unit_id,
        first_month=first_month,
        last_month=last_month,
        network=context.published.network,
        names=names_of_people(desk.store),
    )


def notes_below(
    context: Context, view: ChartView, *, site_id: str | None, measure_id: str
) -> Component | None:
    """The notes of a chart as a list, and where to write one; nothing where there is neither.

    Args: site_id: of the unit, for who may write.
    """
    desk = context.desk
    can_write = desk is not None and may(desk.actor, Permission.ANNOTATE, site_id=site_id)
    if not view.notes and not can_write:
        return None
    where = address(
        Form.NOTE,
        prefix=context.prefix,
        kind=view.unit_kind,
        unit=view.unit_id,
        measure=measure_id,
    )
    items = [html.Li([html.Strong(f"{one.mark} "), one.text]) for one in view.notes]
    return html.Div(
        [
            html.Ul(items, className="notes") if items else None,
            html.P(html.A("Write a note, or take one back", href=where), className="links")
            if can_write
            else None,
        ]
    )
