"""How are the sites doing? One row a site, most urgent first."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.model.months import month_name
from qa.model.published import Published
from qa.model.words import PointState, UnitKind
from qa.views import words
from qa.views.heat import HeatCell, HeatRow, heat_rows
from qa.views.scope import charted_measures, month_points


@dataclass(frozen=True)
class SiteRow:
    """A site with its reliable share and the measures that are not steady."""

    site_id: str
    name: str
    n_exams: int
    state: str
    reliable: HeatCell
    to_look_at: tuple[str, ...]
    to_watch: tuple[str, ...]


@dataclass(frozen=True)
class SitesView:
    month: date
    month_text: str
    answer: str
    rows: tuple[SiteRow, ...]


def sites_view(published: Published, *, month: date) -> SitesView:
    """All sites of the network in one month, sorted by urgency, then by name."""
    charted = charted_measures(published.definitions, UnitKind.SITE)
    watched = [item for item in charted if item.is_watched]
    reliable = published.definitions.measure_by_key("reliable")
    counts = published.frame("monthly_counts", month=month)
    heat = heat_rows(
        month_points(published, month, unit_kind=UnitKind.SITE),
        units=[(site.id, site.name) for site in published.network.sites],
        measures=[reliable, *watched],
        n_exams=dict(counts.group_by("site_id").agg(pl.col("n_judged").sum()).iter_rows()),
    )
    titles = {item.id: words.lower_first(item.title) for item in watched}
    rows = [_row(row, titles) for row in heat]
    order = [state.value for state in PointState]
    return SitesView(
        month=month,
        month_text=month_name(month),
        answer=_answer(rows, month),
        rows=tuple(sorted(rows, key=lambda row: (order.index(row.state), row.name))),
    )


def _row(row: HeatRow, titles: dict[str, str]) -> SiteRow:
    reliable, *cells = row.cells
    watched = HeatRow(row.unit_id, row.name, row.n_exams, tuple(cells))
    state = watched.state if watched.state in list(PointState) else PointState.FEW.value
    return SiteRow(
        site_id=row.unit_id,
        name=row.name,
        n_exams=row.n_exams,
        state=state,
        reliable=reliable,
        to_look_at=_titles_of(cells, PointState.LOOK, titles),
        to_watch=_titles_of(cells, PointState.WATCH, titles),
    )


def _titles_of(cells: list[HeatCell], state: PointState, titles: dict[str, str]) -> tuple[str, ...]:
    return tuple(titles[cell.measure_id] for cell in cells if cell.state == state)


def _answer(rows: list[SiteRow], month: date) -> str:
    n_look = sum(row.state == PointState.LOOK for row in rows)
    when = month_name(month)
    if not n_look:
        return words.as_sentence(f"no site stands out in {when}")
    verb = "needs" if n_look == 1 else "need"
    return words.as_sentence(f"{words.share_of(n_look, len(rows), 'site')} {verb} a look in {when}")
