"""What a case takes from the published snapshot: items, exams, and the figures of its check."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from qa.followup.cases import Case, CaseExam, CaseItem
from qa.followup.effect import EffectResult, check_effect
from qa.measures import is_of_rows, measure_values
from qa.model.definitions import Network
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, may, sites_seen
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.stores.snapshots import open_current
from qa.views.exams import exams_to_look_at

Item = tuple[CaseItem, str | None]
"""An item and its site; None: the whole network's."""


def open_published(folder: Path) -> Published:
    """The published snapshot in force. Raises: SnapshotError where nothing is published."""
    return open_current(folder)


def find_item(published: Published | None, item_id: str) -> Item:
    """An item of the month's list, as its leading signal of the newest month says it.

    Args: item_id: the item's id; the id of any of its signals serves too.
    Raises: FollowupError FUP-020 when the snapshot has no such item.
    """
    rows = _signals_of(published, item_id) if published is not None else pl.DataFrame()
    if rows.is_empty():
        raise FollowupError(
            f"no item of the month's list has the id '{item_id[:80]}'",
            expected="an id as the list shows it",
            todo="See the list, or open the case by hand; nothing was changed",
            code="FUP-020",
        )
    in_order = rows.sort("month", pl.col("rank") == 0, "rank", descending=[True, False, False])
    row = in_order.row(0, named=True)
    item = CaseItem(
        item_id=row["item_id"] or row["signal_id"],
        unit_kind=row["unit_kind"],
        unit_id=row["unit_id"],
        measure_id=row["measure_id"],
        since=row["since_month"].isoformat(),
        month=row["month"].isoformat(),
        finding=row["finding"],
    )
    return item, _site_of(row)


def _signals_of(published: Published, item_id: str) -> pl.DataFrame:
    rows = published.frame("signals", item_id=item_id)
    if rows.is_empty():
        rows = published.frame("signals", signal_id=item_id)
        lead = rows["item_id"].drop_nulls()
        return published.frame("signals", item_id=lead[0]) if len(lead) else rows
    return rows


def _site_of(row: dict[str, Any]) -> str | None:
    if row["unit_kind"] == UnitKind.NETWORK:
        return None
    return row["unit_id"] if row["unit_kind"] == UnitKind.SITE else row["site_id"]


def sites_to_open(actor: Actor | None, network: Network) -> list[tuple[str, str]]:
    """Id and name of the sites for which somebody may open a case by hand; "" for all together."""
    ids = sites_seen(actor, Permission.WORK_CASES, [site.id for site in network.sites])
    whole = [("", "whole network")] if may(actor, Permission.WORK_CASES) else []
    return whole + [(site.id, site.name) for site in network.sites if site.id in ids]


def find_items(published: Published | None, item_ids: Sequence[str]) -> list[Item]:
    """Each item once, in the order named; see find_item."""
    found = [find_item(published, one) for one in item_ids]
    return list({item.item_id: (item, site) for item, site in found}.values())


def site_of_items(items: Sequence[Item]) -> str | None:
    """Raises: FollowupError FUP-020 when they are of several sites."""
    sites = {site for _, site in items}
    if len(sites) != 1:
        raise FollowupError(
            "the items belong to several sites" if sites else "no item is named",
            expected="items of one site, since a case belongs to one",
            todo="Open a case for each site; nothing was changed",
            code="FUP-020",
        )
    return sites.pop()


def shown_exams(
    published: Published, case: Case, exam_keys: Sequence[str] | None
) -> list[CaseExam]:
    """Exams for the list of a case: those named, or those not reliable behind its items.

    Raises: FollowupError FUP-025 when a named exam is not published or is another site's.
    """
    if exam_keys is None:
        keys = [key for item in case.items for key in _keys_behind(published, item)]
        frame = published.frame("exams", exam_key=keys)
    else:
        frame = published.frame("exams", exam_key=list(exam_keys))
    if case.site_id is not None:
        frame = frame.filter(pl.col("site_id") == case.site_id)
    if exam_keys is not None and frame.height != len(set(exam_keys)):
        raise FollowupError(
            "an exam is not published, or is another site's", where=case.case_id, code="FUP-025"
        )
    return [
        CaseExam(row["exam_key"], f"{row['exam_on']} {row['operator_id']} {row['outcome']}")
        for row in frame.sort("exam_on", "exam_key").iter_rows(named=True)
    ]


def _keys_behind(published: Published, item: CaseItem) -> list[str]:
    column = {UnitKind.SITE: "site_id", UnitKind.OPERATOR: "operator_id"}
    column[UnitKind.DEVICE] = "device_id"
    if item.unit_kind not in column:
        return []
    exams = published.frame("exams", **{column[UnitKind(item.unit_kind)]: item.unit_id})
    since, month = date.fromisoformat(item.since), date.fromisoformat(item.month)
    in_time = exams.filter(pl.col("month").is_between(since, month))
    return [row.exam_key for row in exams_to_look_at(published, in_time)]


def preview_effect(published: Published, case: Case, *, as_of: date) -> EffectResult | None:
    """What the check of a done action says, from published counts; None before it is done.

    Raises: FollowupError FUP-028 when the snapshot does not know the measure.
    """
    if case.plan is None or case.done_on is None:
        return None
    criterion = case.plan.criterion
    counts = published.frame("monthly_counts")
    return check_effect(
        unit_values(published, criterion.measure_id, criterion.unit_kind, criterion.unit_id),
        criterion,
        done_on=case.done_on,
        as_of=as_of,
        published_to=_newest(counts),
        snapshot_id=published.snapshot_id,
    )


def _newest(counts: pl.DataFrame) -> date | None:
    newest = counts["month"].max()
    return newest if isinstance(newest, date) else None


def unit_values(
    published: Published, measure_id: str, unit_kind: str, unit_id: str
) -> pl.DataFrame:
    """MEASURE_VALUES of one measure and unit, every month and criteria set.

    Raises: FollowupError FUP-028 when there is no such measure or kind of unit.
    """
    measure = published.definitions.measures.get(measure_id)
    if measure is None or unit_kind not in list(UnitKind):
        raise FollowupError(
            f"'{measure_id[:60]}' of a '{unit_kind[:60]}'",
            where="criterion",
            expected="a measure as Methods lists it, of a network, site, operator or device",
            code="FUP-028",
        )
    name = "row_counts" if is_of_rows(measure) else "monthly_counts"
    of_unit = {} if unit_kind == UnitKind.NETWORK else {f"{unit_kind}_id": unit_id}
    counts = published.frame(name, **of_unit)
    return measure_values(counts, measures=[measure], unit_kind=unit_kind, home_sites={})
