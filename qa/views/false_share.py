"""The month by false discovery rate, beside the list by budget."""

from dataclasses import dataclass
from datetime import date

from qa.charts.series import SIDES
from qa.model.published import Published
from qa.signals.false_share import FALSE_SHARE, month_p_values
from qa.views import words
from qa.views.names import unit_names
from qa.views.worklist import WorkItem


@dataclass(frozen=True)
class FalseShareRow:
    """One chart that stands out in the month. item: its number on the list by budget; 0: none."""

    unit_kind: str
    unit_id: str
    site_id: str | None
    unit_name: str
    measure_id: str
    measure_title: str
    found_text: str
    expected_text: str
    p_text: str
    adjusted_text: str
    item: int


@dataclass(frozen=True)
class FalseShareView:
    """text: what this list says, and what it does not."""

    rows: tuple[FalseShareRow, ...]
    text: str


def false_share_view(
    published: Published, *, month: date, items: tuple[WorkItem, ...]
) -> FalseShareView:
    """Charts that stand out in this month alone, at most one in twenty of them falsely."""
    measures = published.definitions.measures
    watched = [one for one in measures.values() if one.is_watched]
    points = published.frame("chart_points", month=month, measure_id=[one.id for one in watched])
    sides = {one.id: SIDES[one.better][0] for one in watched if len(SIDES[one.better]) == 1}
    tested = month_p_values(points, published.frame("baselines"), bad_sides=sides)
    kept = tested.filter(tested["adjusted_p"] <= FALSE_SHARE).to_dicts()
    places = _places(published, month, items)
    names = unit_names(published.network)
    rows = tuple(
        FalseShareRow(
            unit_kind=row["unit_kind"],
            unit_id=row["unit_id"],
            site_id=row["unit_id"] if row["unit_kind"] == "site" else row["site_id"],
            unit_name=names.get((row["unit_kind"], row["unit_id"]), row["unit_id"]),
            measure_id=row["measure_id"],
            measure_title=measures[row["measure_id"]].title,
            found_text=f"{words.whole(row['n_events'])} of {words.whole(row['n'])}",
            expected_text=words.number(row["expected_events"]),
            p_text=_p_text(row["p"]),
            adjusted_text=_p_text(row["adjusted_p"]),
            item=places.get((row["unit_kind"], row["unit_id"], row["measure_id"]), 0),
        )
        for row in kept
    )
    return FalseShareView(rows, _text(len(rows), tested.height))


def _places(
    published: Published, month: date, items: tuple[WorkItem, ...]
) -> dict[tuple[str, str, str], int]:
    """(unit kind, unit, measure) → number of the item that it belongs to."""
    numbers = {item.item_id: number for number, item in enumerate(items, start=1)}
    signals = published.frame("signals", month=month)
    return {
        (kind, unit, measure): numbers[item]
        for kind, unit, measure, item in signals.select(
            "unit_kind", "unit_id", "measure_id", "item_id"
        ).iter_rows()
        if item in numbers
    }


def _text(n: int, n_tested: int) -> str:
    return (
        "Another question than that of the list by budget: which of "
        f"{words.counted(n_tested, 'chart')} "
        f"stand out in this month alone? {_do(n)}, of which "
        "on average at most one in twenty falsely (false discovery rate 5 %, Benjamini and "
        "Hochberg 1995). Earlier months do not count here, so slow changes are missing, and "
        "nothing is joined by cause: an operator's chart stands beside the site's. Decide by the "
        "list by budget."
    )


def _do(n: int) -> str:
    """Example: 'Two charts do'"""
    return words.as_sentence(f"{words.counted_word(n, 'chart')} {'does' if n == 1 else 'do'}")[:-1]


def _p_text(p: float) -> str:
    return "under 0.0001" if p < 0.0001 else f"{p:.4f}"
