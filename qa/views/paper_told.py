"""What earlier packs said and what is known now: restatements of earlier months."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qa.model.months import month_name
from qa.model.published import Published
from qa.model.words import UnitKind
from qa.views import words
from qa.views.pack_facts import PackFacts, ToldMonth
from qa.views.paper import Grid, Look, Para, Section
from qa.views.scope import month_points
from qa.views.shown import Figure
from qa.views.site import site_figures

TITLE = "Earlier months restated"
NOTE = (
    "An exam that arrives late, is corrected or withdrawn changes the month it belongs to. The "
    "pack that was issued then stays as it is; this table says what it would say now."
)


@dataclass(frozen=True)
class Restated:
    """One figure of an earlier month that is another now."""

    site_id: str
    month: date
    pack_name: str
    name: str
    label: str
    then: str
    then_n: int | None
    now: str
    now_n: int | None


def restated(
    published: Published, facts: PackFacts | None, *, before: date
) -> tuple[Restated, ...] | None:
    """The six figures of earlier months that differ from what a pack said, newest month first.

    Returns: None where no earlier pack was issued, so that nobody was told anything.
    """
    told = [one for one in facts.told if one.month < before] if facts else []
    if not told:
        return None
    found: list[Restated] = []
    for one in sorted(told, key=lambda one: (one.month, one.site_id), reverse=True):
        found += _of_month(published, one)
    return tuple(found)


def _of_month(published: Published, told: ToldMonth) -> list[Restated]:
    counts = published.frame("monthly_counts", site_id=told.site_id, month=told.month)
    points = month_points(published, told.month, unit_kind=UnitKind.SITE)
    own = points.filter(points["unit_id"] == told.site_id)
    return [
        Restated(
            told.site_id, told.month, told.pack_name, now.name, now.label, then, n, now.text, now.n
        )
        for now in site_figures(published, own, told.month, counts=counts)
        if now.name in told.figures
        for then, value, n in (told.figures[now.name],)
        if (value, n) != (now.value, now.n)
    ]


def told_section(found: Sequence[Restated] | None, *, n_told: int) -> Section:
    """Args: n_told: earlier packs that were compared."""
    if found is None:
        none = "No pack of an earlier month was issued before, so nothing can be restated."
        return Section("restated", TITLE, (Para(none, Look.SMALL),))
    packs = words.counted(n_told, "earlier pack")
    if not found:
        same = f"{words.as_sentence(packs).rstrip('.')} compared: every figure is as it was told."
        return Section("restated", TITLE, (Para(same, Look.SMALL),))
    rows = tuple(
        (
            Para(month_name(one.month), Look.SMALL),
            Para(one.pack_name, Look.SMALL),
            Para(one.label, Look.SMALL),
            Para(f"{one.then}, n = {words.whole(one.then_n)}", Look.SMALL),
            Para(
                f"{one.now}, n = {words.whole(one.now_n)}",
                Look.SMALL,
                Figure(
                    f"restated.{one.site_id}.{one.month:%Y-%m}.{one.name}",
                    one.label,
                    f"{one.now}, n = {words.whole(one.now_n)}",
                    None,
                ),
            ),
        )
        for one in found
    )
    headings = ("Month", "Told by", "Figure", "Then", "Now")
    lead = f"{words.as_sentence(packs).rstrip('.')} compared; these figures are others now."
    return Section(
        "restated",
        TITLE,
        (
            Para(lead, Look.SMALL),
            Grid(TITLE, headings, rows, (18, 26, 22, 17, 17)),
            Para(NOTE, Look.NOTE),
        ),
    )
