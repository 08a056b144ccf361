"""Who needs training in what, and which device needs service: ranked, with reasons and volume."""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date

import polars as pl

from qa.model.definitions import Settings
from qa.model.months import add_months, month_name
from qa.model.need_schema import NEEDS
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.names import unit_names
from qa.views.scope import published_months
from qa.views.worklist import WorkItem, work_items

CURRENCY_MONTHS = 12


@dataclass(frozen=True)
class Need:
    """One operator or device that needs something.

    at_stake: exams at stake over its items; they may overlap. n_year: exams in the last 12 months,
    n_all: since the first export. last: month of the newest exam; None: none known.
    """

    rank: int
    unit_kind: str
    unit_id: str
    unit_name: str
    site_id: str | None
    what: str
    reason: str
    at_stake: float
    stake_text: str
    n_year: int
    n_all: int
    last: date | None
    practice: str
    item_ids: tuple[str, ...]


def training_needs(
    published: Published, items: tuple[WorkItem, ...], *, month: date, site_id: str | None = None
) -> tuple[Need, ...]:
    """Operators with an item that is theirs, most exams at stake first, then thin practice.

    Args:
        items: of the month; those of other units are left out.
        site_id: only this site's operators.
    Method: an operator's items are one need. Operators without an item follow where they did
        exams within the year, but fewer of them than current_exams_a_year, or fewer in all than
        provisional_until_exams ([settings]; the numbers of qa/followup/standing.py).
    """
    practice = _practice(published, month, "operator_id")
    own = _by_unit(items, UnitKind.OPERATOR)
    homes = {person.id: person.site for person in published.network.operators}
    listed = [
        _need(published, UnitKind.OPERATOR, unit, found, practice, homes.get(unit), month)
        for unit, found in own.items()
    ]
    thin = [
        _need(published, UnitKind.OPERATOR, unit, [], practice, homes.get(unit), month)
        for unit, (n_year, n_all, _) in sorted(practice.items())
        if unit not in own and n_year > 0 and _is_thin(published.network.settings, n_year, n_all)
    ]
    return _ranked([*listed, *thin], site_id)


def service_needs(
    published: Published, items: tuple[WorkItem, ...], *, month: date, site_id: str | None = None
) -> tuple[Need, ...]:
    """Devices with an item that is theirs, most exams at stake first."""
    practice = _practice(published, month, "device_id")
    homes = {device.id: device.site for device in published.network.devices}
    needs = [
        _need(published, UnitKind.DEVICE, unit, found, practice, homes.get(unit), month)
        for unit, found in _by_unit(items, UnitKind.DEVICE).items()
    ]
    return _ranked(needs, site_id)


def needs_frame(published: Published) -> pl.DataFrame:
    """NEEDS of the last published month: operators, then devices, by rank."""
    month = published_months(published)[-1]
    items = work_items(published, published.frame("signals", month=month))
    needs = (
        *training_needs(published, items, month=month),
        *service_needs(published, items, month=month),
    )
    columns = {
        name: [getattr(need, name) for need in needs]
        for name in ("rank", "unit_kind", "unit_id", "site_id", "what", "reason", "at_stake")
    }
    columns |= {"n_year": [need.n_year for need in needs], "n_all": [need.n_all for need in needs]}
    columns |= {"newest_month": [need.last for need in needs], "month": [month] * len(needs)}
    columns |= {"item_ids": [list(need.item_ids) for need in needs]}
    return NEEDS.conform(pl.DataFrame(columns, schema_overrides=NEEDS.to_polars()))


def _by_unit(items: tuple[WorkItem, ...], kind: UnitKind) -> dict[str, list[WorkItem]]:
    found: dict[str, list[WorkItem]] = defaultdict(list)
    for item in items:
        if item.unit_kind == kind:
            found[item.unit_id].append(item)
    return found


def _practice(
    published: Published, month: date, column: str
) -> dict[str, tuple[int, int, date | None]]:
    """Unit → exams of the last twelve months, of all months so far, month of the newest."""
    counts = published.frame("monthly_counts").filter(
        (pl.col("month") <= month) & (pl.col("n_performed") > 0)
    )
    first = add_months(month, 1 - CURRENCY_MONTHS)
    sums = counts.group_by(column).agg(
        pl.col("n_performed").filter(pl.col("month") >= first).sum().alias("n_year"),
        pl.col("n_performed").sum().alias("n_all"),
        pl.col("month").max().alias("last"),
    )
    return {unit: (n_year, n_all, last) for unit, n_year, n_all, last in sums.iter_rows()}


def _need(
    published: Published,
    kind: UnitKind,
    unit_id: str,
    items: list[WorkItem],
    practice: dict[str, tuple[int, int, date | None]],
    site_id: str | None,
    month: date,
) -> Need:
    n_year, n_all, last = practice.get(unit_id, (0, 0, None))
    names = unit_names(published.network)
    reasons = [item.finding.split(": ", 1)[-1] for item in items]
    return Need(
        rank=0,
        unit_kind=kind.value,
        unit_id=unit_id,
        unit_name=names.get((kind.value, unit_id), unit_id),
        site_id=site_id,
        what=" ".join(dict.fromkeys(words.as_sentence(item.suggestion) for item in items))
        or "Sit in on the next exams; plan more of them, or hand them to those who do more.",
        reason=words.as_sentence("; ".join(reasons))
        if reasons
        else _thin(published.network.settings, n_year, n_all),
        at_stake=sum(item.at_stake for item in items),
        stake_text="; ".join(item.stake_text for item in items),
        n_year=n_year,
        n_all=n_all,
        last=last,
        practice=_practice_text(n_year, n_all, last, month),
        item_ids=tuple(item.item_id for item in items),
    )


def _is_thin(settings: Settings, n_year: int, n_all: int) -> bool:
    return n_year < settings.current_exams_a_year or n_all < settings.provisional_until_exams


def _thin(settings: Settings, n_year: int, n_all: int) -> str:
    if n_all < settings.provisional_until_exams:
        return f"Fewer than {settings.provisional_until_exams} exams so far ({n_all})."
    return f"Few exams in the last twelve months ({n_year}); skill fades without practice."


def _practice_text(n_year: int, n_all: int, last: date | None, month: date) -> str:
    """Example: '412 exams in 12 months, 1,204 in all'"""
    if last is None:
        return "no exams known"
    text = f"{words.counted(n_year, 'exam')} in 12 months, {words.whole(n_all)} in all"
    return text if last == month else f"{text}, the newest in {month_name(last)}"


def _ranked(needs: list[Need], site_id: str | None) -> tuple[Need, ...]:
    chosen = [need for need in needs if site_id is None or need.site_id == site_id]
    ordered = sorted(chosen, key=lambda need: (-need.at_stake, need.n_year, need.unit_id))
    return tuple(replace(need, rank=number) for number, need in enumerate(ordered, start=1))
