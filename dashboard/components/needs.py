"""Who or what needs something: rank, reason, practice, what to do."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.addresses import Page
from dashboard.components.basics import link, section
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.model.words import UnitKind
from qa.views.needs import Need


def needs_section(
    title: str, needs: Sequence[Need], *, context: Context, id: str, none: str
) -> Component:
    """One table, most exams at stake first; `none` where nobody needs anything."""
    if not needs:
        return section(title, html.P(none), id=id)
    is_people = needs[0].unit_kind == UnitKind.OPERATOR
    rows = [
        (
            link(need.unit_name, _address(need, context)),
            need.what,
            need.reason,
            need.stake_text or "–",
            need.practice,
        )
        for need in needs
    ]
    return section(
        title,
        table(
            title,
            (
                "Operator" if is_people else "Device",
                "What to do",
                "Why",
                "Exams at stake",
                "Practice" if is_people else "Use",
            ),
            rows,
            long=(1, 2, 3, 4),
        ),
        id=id,
    )


def _address(need: Need, context: Context) -> str:
    if need.unit_kind == UnitKind.OPERATOR:
        return context.to(Page.OPERATORS, operator=need.unit_id)
    return context.to(Page.SITE, site=need.site_id)
