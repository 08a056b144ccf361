"""Explain why a measure moved at a site, from what is published."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

from qa.model.errors import WrongUse
from qa.stores.snapshots import open_current
from qa.views.baselines import find_measure
from qa.views.explain import ExplainView, explain_view
from qa.views.scope import published_months


def explain_at_site(folder: Path, *, site: str, measure: str, month: date) -> ExplainView:
    """What moved a measure at a site, as it stood in a month.

    Args: site: its id. measure: its id or key.
    Raises: WrongUse: no such site or measure, nothing published for the month, or a measure that
        is not made of exams; SnapshotError: nothing is published.
    """
    snapshot = open_current(folder)
    try:
        network = snapshot.network
        if network.site(site) is None:
            raise WrongUse(
                f"there is no site '{site[:40]}'",
                expected=f"one of {', '.join(one.id for one in network.sites)}",
                code="USE-062",
            )
        found = find_measure(snapshot.definitions, measure)
        months = published_months(snapshot)
        if month not in months:
            ends = f"{months[0]:%Y-%m} to {months[-1]:%Y-%m}" if months else "none"
            raise WrongUse(
                f"nothing is published for {month:%Y-%m}",
                expected=f"a published month ({ends})",
                code="USE-063",
            )
        return explain_view(snapshot, site_id=site, measure_id=found.id, month=month)
    finally:
        snapshot.close()


def explain_lines(view: ExplainView) -> Iterator[str]:
    """The view as lines of text: the verdict first, then what it rests on."""
    yield view.answer
    yield view.subline
    yield ""
    for name, sentence in view.facts:
        yield f"{name}: {sentence}"
    for title, rows in (
        (
            "What the change is made of, percent points",
            [(one.name, one.text) for one in view.parts],
        ),
        (
            "Explanations",
            [(one.name, f"{one.text}; {one.shift_text}") for one in view.weights],
        ),
        (
            "Before and after",
            [
                (
                    one.label,
                    f"{one.before_text} of {one.n_before:,}; {one.after_text} of {one.n_after:,}",
                )
                for one in view.members
            ],
        ),
        (
            "The mix of results",
            [
                (f"{one.of}: {one.name}", "; ".join(part for part in one.told if part))
                for one in view.mix
            ],
        ),
    ):
        if rows:
            width = max(len(name) for name, _ in rows)
            yield ""
            yield title
            yield from (f"  {name:<{width}}  {text}" for name, text in rows)
    yield ""
    yield from view.notes
    yield view.caution
