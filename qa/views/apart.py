"""Person or place, in words: an operator at several sites, and a site with one operator."""

from datetime import date

import polars as pl

from qa.charts.apart import Apart, Part, lone_operator, tell_apart
from qa.model.definitions import Measure
from qa.model.months import add_months
from qa.model.published import Published
from qa.model.words import Better
from qa.views import words
from qa.views.names import site_name, unit_name

SURE = 0.05


def operator_apart_text(
    published: Published, *, operator_id: str, measure: Measure, month: date
) -> str:
    """What can be told apart of an operator and the sites, over the months of the funnel.

    Returns: sentences; "" where the measure is not adjusted or has no bad side.
    """
    found = _apart(published, operator_id, measure, month)
    if found is None:
        return ""
    return " ".join(part for part in (_beside(published, found), _places(published, found)) if part)


def _apart(published: Published, operator_id: str, measure: Measure, month: date) -> Apart | None:
    if measure.better == Better.NEITHER:
        return None
    first = add_months(month, 1 - published.network.settings.funnel_months)
    rows = published.frame("expected_counts", measure_id=measure.id).filter(
        pl.col("month").is_between(first, month)
    )
    newest = rows.sort("month", "criteria_id", "model_id").tail(1)
    rows = rows.join(newest, on=["criteria_id", "model_id"], how="semi")
    if measure.better == Better.HIGHER:
        rows = rows.with_columns(
            n_events=pl.col("n") - pl.col("n_events"),
            expected_micro=pl.col("n") * 1_000_000 - pl.col("expected_micro"),
        )
    return tell_apart(rows, operator_id)


def _beside(published: Published, found: Apart) -> str:
    """The operator beside the others within the same sites."""
    place = site_name(published.network, found.places[0].site_id)
    if found.is_alone or found.others is None:
        return (
            f"Nearly all exams at {place} were done by this operator: person and place cannot be "
            "told apart there."
        )
    own = _sum(found.places)
    where = place if len(found.places) == 1 else "the same sites"
    text = f"The operator: {_part_words(own)}; the others at {where} {_part_words(found.others)}."
    if not found.p_others < SURE:
        return f"{text} Patients and place allowed for, that is no more than chance."
    side = "above" if own.ratio > found.others.ratio else "below"
    return f"{text} Patients and place allowed for, the operator lies {side} the others."


def _places(published: Published, found: Apart) -> str:
    """The operator's own exams, site by site."""
    if len(found.places) < 2:
        return ""
    each = words.listed(
        [f"{site_name(published.network, one.site_id)} {_part_words(one)}" for one in found.places]
    )
    if found.p_places < SURE:
        return f"By place: {each}; the places differ by more than chance: look at the place too."
    person = ": it goes with the person" if found.p_others < SURE else ""
    return f"By place: {each}; alike, as far as so few exams tell{person}."


def _sum(parts: tuple[Part, ...]) -> Part:
    events, expected = sum(one.n_events for one in parts), sum(one.expected for one in parts)
    ratio = events / expected if expected else float("nan")
    n = sum(one.n for one in parts)
    return Part(parts[0].site_id, n, events, expected, ratio, float("nan"), float("nan"))


def _part_words(part: Part) -> str:
    """Example: '12 found, 8.9 expected'"""
    return f"{words.whole(part.n_events)} found, {words.number(part.expected)} expected"


def site_apart_text(published: Published, *, site_id: str, month: date) -> str:
    """Says where a site's exams are those of one person; "" where they are not."""
    first = add_months(month, 1 - published.network.settings.funnel_months)
    counts = published.frame("monthly_counts", site_id=site_id).filter(
        pl.col("month").is_between(first, month)
    )
    found = lone_operator(counts)
    if found is None:
        return ""
    name = unit_name(published.network, "operator", found[0])
    return (
        f"{words.percent(found[1])} of this site's exams in the last "
        f"{published.network.settings.funnel_months} months were done by {name}: person and "
        "place cannot be told apart; exams of another operator here, or of this one elsewhere, "
        "would tell."
    )
