"""Which packs there are of a kind."""

from collections.abc import Callable, Sequence
from datetime import date

from qa.model.months import add_months
from qa.model.pack_request import PackKind, PackRequest
from qa.model.published import Published
from qa.views.pack import check_request

Choose = Callable[[Published], Sequence[PackRequest]]


def choose_packs(
    kind: PackKind,
    *,
    month: date,
    site_id: str | None = None,
    unit_id: str | None = None,
    from_month: date | None = None,
    sheet: str = "A4",
) -> Choose:
    """Which packs of a kind a month has.

    Args:
        site_id: only this site; of a round, its copy, in which others have no names.
        unit_id: an operator or a round.
        from_month: of a record; None: eleven months before the month.
    Returns: a function that raises PackError where there is no such site or month.
    """

    def choose(published: Published) -> list[PackRequest]:
        network = published.network
        sites = [site_id] if site_id else [site.id for site in network.sites]
        check_request(published, site_id=sites[0], month=month)
        first = None
        if kind is PackKind.SITE:
            units = sites
        elif kind is PackKind.OPERATOR:
            units = [unit_id] if unit_id else _operators(published, month, sites)
        elif kind is PackKind.ROUND:
            units = [f"{unit_id}/{site_id}" if site_id else unit_id or ""]
        elif kind is PackKind.RECORD:
            units, first = [site_id or network.id], from_month or add_months(month, -11)
        else:
            units = [network.id]
        return [PackRequest(kind, one, month, first, sheet) for one in units]

    return choose


def _operators(published: Published, month: date, sites: Sequence[str]) -> list[str]:
    """Operators of network.toml with exams in the month at some sites."""
    counts = published.frame("monthly_counts", month=month, site_id=list(sites))
    known = {one.id for one in published.network.operators}
    return [one for one in counts["operator_id"].unique().sort().to_list() if one in known]
