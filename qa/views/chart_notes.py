"""Notes at charts: what happened, when, and who wrote it down."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date

from qa.followup.annotations import Annotation
from qa.model.definitions import Network
from qa.model.months import add_months
from qa.model.words import UnitKind
from qa.views.names import unit_name
from qa.views.shown import ChartNote, ChartView


def chart_notes(
    annotations: Iterable[Annotation],
    *,
    unit_kind: str,
    unit_id: str,
    first_month: date,
    last_month: date,
    network: Network,
    names: Mapping[str, str],
) -> tuple[ChartNote, ...]:
    """Notes that belong to a unit's charts, oldest first, numbered.

    Its own; those of the whole network; of an operator or device also those of its sites.

    Args:
        annotations: those that the reader may see. names: account's id → name.
        first_month, last_month: of the chart, both included.
    """
    wanted = _units(network, unit_kind, unit_id)
    ends = add_months(last_month, 1)
    found = [
        one
        for one in annotations
        if (one.unit_kind, one.unit_id) in wanted and first_month <= one.day < ends
    ]
    found.sort(key=lambda one: (one.day, one.annotation_id))
    return tuple(
        _note(number, one, unit_kind, network, names) for number, one in enumerate(found, start=1)
    )


def _units(network: Network, unit_kind: str, unit_id: str) -> set[tuple[str, str]]:
    found = {(unit_kind, unit_id), (UnitKind.NETWORK.value, "network")}
    owner = network.operator(unit_id) if unit_kind == UnitKind.OPERATOR else None
    sites = owner.sites if owner else ()
    if unit_kind == UnitKind.DEVICE:
        sites = next((one.sites for one in network.devices if one.id == unit_id), ())
    return found | {(UnitKind.SITE.value, site) for site in sites}


def _note(
    number: int, one: Annotation, unit_kind: str, network: Network, names: Mapping[str, str]
) -> ChartNote:
    where = "" if one.unit_kind == unit_kind else unit_name(network, one.unit_kind, one.unit_id)
    return ChartNote(
        number=number,
        annotation_id=one.annotation_id,
        unit_kind=one.unit_kind,
        unit_id=one.unit_id,
        day=one.day,
        kind=one.kind,
        words=one.words,
        where=where,
        who=names.get(one.by, one.by),
        written_on=one.at[:10],
    )


def with_notes(
    view: ChartView,
    annotations: Sequence[Annotation],
    *,
    network: Network,
    names: Mapping[str, str],
) -> ChartView:
    """The same chart with the notes of its months."""
    if not view.points:
        return view
    notes = chart_notes(
        annotations,
        unit_kind=view.unit_kind,
        unit_id=view.unit_id,
        first_month=view.points[0].month,
        last_month=view.points[-1].month,
        network=network,
        names=names,
    )
    return replace(view, notes=notes)
