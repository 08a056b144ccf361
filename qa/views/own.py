"""How an operator reads the own month: what goes well first, then one step to work on."""

from dataclasses import dataclass
from datetime import date

from qa.model.months import month_name
from qa.model.published import Published
from qa.model.words import PointState
from qa.views import words
from qa.views.operators import OperatorView
from qa.views.shown import ChartView


@dataclass(frozen=True)
class OwnView:
    """The own month.

    Args:
        well: what goes well, one sentence each. step: the one step to work on.
        why_step: what it was seen by; "" where nothing stands out.
    """

    answer: str
    subline: str
    well: tuple[str, ...]
    step: str
    why_step: str


def own_view(published: Published, person: OperatorView, *, month: date) -> OwnView:
    """Args: person: the operator's own view of the month."""
    counts = published.frame("monthly_counts", month=month, operator_id=person.operator_id)
    n, n_reliable = (int(counts[name].sum()) for name in ("n_judged", "n_reliable"))
    item = person.items[0] if person.items else None
    measure = published.definitions.measures[item.measure_id] if item else None
    return OwnView(
        answer=_answer(month, n, n_reliable, has_step=item is not None),
        subline=f"{person.name}, {person.site_name}. Your peers see your figures without your "
        "name.",
        well=_well(person.charts, month),
        step=words.as_sentence(f"work on {measure.step}") if measure else _NOTHING,
        why_step=f"Seen by: {words.lower_first(item.measure_title)}. {item.since_text}. Your site "
        "lead can arrange a few exams side by side."
        if item
        else "",
    )


_NOTHING = "Nothing stands out. Keep doing what you do."


def _answer(month: date, n: int, n_reliable: int, *, has_step: bool) -> str:
    """Example: '29 of your 33 exams in October 2026 are reliable. One step can make it more.'"""
    when = month_name(month)
    if not n:
        return f"You have no judged exams in {when}."
    verb = "is" if n_reliable == 1 else "are"
    head = f"{words.whole(n_reliable)} of your {words.counted(n, 'exam')} in {when} {verb} reliable"
    if has_step:
        return f"{head}. One step can make it more."
    return f"{head}. Nothing stands out."


def _well(charts: tuple[ChartView, ...], month: date) -> tuple[str, ...]:
    """Measures that are steady in the month, with their value."""
    steady = [
        f"{chart.measure_title}: {words.percent(chart.points[-1].value)}, as expected."
        for chart in charts
        if chart.points
        and chart.points[-1].month == month
        and chart.points[-1].state == PointState.STEADY.value
    ]
    return tuple(steady)
