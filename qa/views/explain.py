"""Why did a share move at a site? The verdict in words, what it rests on, and the parts."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import polars as pl

from qa.drift.exam_cells import FACTORS, exam_cells
from qa.drift.exam_steps import Steps, find_steps
from qa.drift.explain import explain_change
from qa.drift.verdict import judge
from qa.drift.weigh_steps import leaning_of, weights_of, with_newcomers
from qa.drift.when import Started, find_start
from qa.model.definitions import CAUTION, GRADE_CAUTION, Measure
from qa.model.errors import WrongUse
from qa.model.months import add_months, month_name
from qa.model.published import Published
from qa.model.schemas import COUNT_COLUMNS
from qa.model.words import UnitKind
from qa.views import words
from qa.views.explain_mix import MixRow, mix_rows
from qa.views.explain_rows import (
    MemberRow,
    PartRow,
    WeightRow,
    member_rows,
    part_rows,
    weight_rows,
)
from qa.views.explain_words import answer_words, before_after_words, next_words, sure_words
from qa.views.names import site_name
from qa.views.scope import charted_measures, criteria_of_month

SEED = 1955
"""Of the bootstrap: the same question has the same answer. Kitagawa's year."""
MONTHS = 24
RECENT = 3
"""Months that are held against those before where no step was found."""
FEWEST_MONTHS = 6


@dataclass(frozen=True)
class ExplainView:
    """One site, measure and month.

    answer: the verdict as a sentence. subline: how sure. facts: named sentences (what moved, since
    when, held against what, next). parts: what the change is made of; weights: explanations by
    their probability; members: operators, devices, probes and techniques before and after; mix:
    tests of the bands and values, for measures of results. caution: what must stand beside them.
    is_told: False where there are too few months or exams for any of it.
    """

    site_id: str
    site_name: str
    measure: Measure
    month: date
    answer: str
    subline: str
    facts: tuple[tuple[str, str], ...]
    parts: tuple[PartRow, ...]
    weights: tuple[WeightRow, ...]
    members: tuple[MemberRow, ...]
    mix: tuple[MixRow, ...]
    notes: tuple[str, ...]
    caution: str
    is_told: bool


def explained_measures(published: Published) -> list[Measure]:
    """Measures that are counted in exams, as charted for sites."""
    names = {column.name for column in COUNT_COLUMNS}
    return [
        one
        for one in charted_measures(published.definitions, UnitKind.SITE)
        if names.issuperset({*one.numerator, *one.denominator})
    ]


def explained_ids(published: Published) -> set[str]:
    return {one.id for one in explained_measures(published)}


@dataclass(frozen=True)
class _Periods:
    """Months of each period, and how the start was found."""

    before: tuple[date, ...]
    after: tuple[date, ...]
    started: Started
    months: tuple[date, ...]
    from_signal: bool
    by_exams: bool


def explain_view(
    published: Published, *, site_id: str, measure_id: str, month: date, seed: int = SEED
) -> ExplainView:
    """What moved the measure at the site, as it stood in the month.

    Args: measure_id: its id. seed: of the bootstrap.
    Raises: WrongUse: the measure is not made of exams, so there is nothing to share out.
    """
    measure = published.definitions.measures[measure_id]
    criteria_id = criteria_of_month(published.network, month)
    exams = _exams(published, site_id, month, criteria_id)
    coefficients, has_model = _model(published, measure, criteria_id, month)
    try:
        cells = exam_cells(exams, measure=measure, coefficients=coefficients, by=("month",))
    except KeyError:
        raise WrongUse(
            f"{measure.title} is not counted in exams",
            expected="a measure of exams, such as unreliable",
            code="USE-061",
        ) from None
    name = site_name(published.network, site_id)
    steps = find_steps(exams, measure=measure)
    periods = _periods(published, cells, measure, steps, site_id=site_id, month=month)
    if periods is None:
        return _nothing(site_id, name, measure, month)
    before, after = (_sum(cells, months) for months in (periods.before, periods.after))
    found = explain_change(
        before,
        after,
        rng=np.random.default_rng(seed),
        leaning=leaning_of(steps, periods.after[0]),
        weights=weights_of(steps),
    )
    found = with_newcomers(found, steps)
    verdict = judge(
        found,
        is_grade=measure.is_grade,
        n_operators=_in_both(before, after, "operator_id"),
        n_devices=_in_both(before, after, "device_id"),
    )
    network = published.network
    mix = mix_rows(published, exams, measure, before=periods.before, after=periods.after)
    return ExplainView(
        site_id=site_id,
        site_name=name,
        measure=measure,
        month=month,
        answer=words.as_sentence(answer_words(network, name, measure, found, verdict, steps)),
        subline=sure_words(network, measure, found, verdict),
        facts=(
            ("What moved", before_after_words(measure, found, verdict, steps)),
            ("Since when", _since_words(periods)),
            ("Held against", _against_words(periods, criteria_id)),
            ("Next", next_words(network, measure, found, verdict)),
        ),
        parts=part_rows(found, has_model=has_model),
        weights=weight_rows(network, found),
        members=member_rows(network, before, after),
        mix=mix,
        notes=_notes(measure, has_model=has_model),
        caution=GRADE_CAUTION if measure.is_grade else CAUTION,
        is_told=True,
    )


def _exams(
    published: Published, site_id: str, month: date, criteria_id: str | None
) -> pl.DataFrame:
    months = [add_months(month, -k) for k in range(MONTHS)]
    return published.frame("exams", site_id=site_id, month=months, criteria_id=criteria_id)


def _model(
    published: Published, measure: Measure, criteria_id: str | None, month: date
) -> tuple[pl.DataFrame, bool]:
    """Coefficients of the model in force; none where the measure is not adjusted."""
    models = published.frame("risk_models", measure_id=measure.id, criteria_id=criteria_id).filter(
        pl.col("in_force_from") <= month
    )
    ids = models.sort("in_force_from", "version_no")["model_id"].to_list()[-1:]
    return published.frame("risk_coefficients", model_id=ids), bool(ids)


def _periods(
    published: Published,
    cells: pl.DataFrame,
    measure: Measure,
    steps: Steps,
    *,
    site_id: str,
    month: date,
) -> _Periods | None:
    """Since the likeliest step of single exams, the last step of the share, a signal, or lately."""
    series = cells.group_by("month").agg(pl.col("n", "n_events").sum()).sort("month")
    months = tuple(series["month"].to_list())
    if len(months) < FEWEST_MONTHS:
        return None
    started = find_start(series["n_events"].to_numpy(), series["n"].to_numpy())
    step = steps.found
    if step is not None:
        place, low, high = (months.index(one) for one in (step.start, step.first, step.last))
        started = replace(started, start=place, first=low, last=high)
    signals = published.frame(
        "signals",
        unit_kind=UnitKind.SITE.value,
        unit_id=site_id,
        measure_id=measure.id,
        month=month,
    )
    since = signals["since_month"].to_list()[-1:]
    by_signal = months.index(since[0]) if since and since[0] in months[RECENT:] else None
    place = started.start or by_signal or len(months) - RECENT
    return _Periods(
        months[:place],
        months[place:],
        started,
        months,
        from_signal=started.start is None and by_signal is not None,
        by_exams=step is not None,
    )


def _sum(cells: pl.DataFrame, months: Sequence[date]) -> pl.DataFrame:
    here = cells.filter(pl.col("month").is_in(months))
    return here.group_by([*FACTORS, "log_odds"]).agg(pl.col("n", "n_events").sum())


def _in_both(before: pl.DataFrame, after: pl.DataFrame, column: str) -> int:
    return len(set(before[column]) & set(after[column]))


def _since_words(periods: _Periods) -> str:
    started, months = periods.started, periods.months
    trend = (
        f"Month by month the share has {'risen' if started.trend > 0 else 'fallen'} by "
        f"{abs(100 * started.trend):.2f} points a month (Mann-Kendall p {_p(started.trend_p)})."
        if started.trend_p < 0.05
        else f"No steady rise or fall (Mann-Kendall p {_p(started.trend_p)})."
    )
    first = month_name(periods.after[0])
    if periods.from_signal:
        return f"{first}, by the signal. {trend}"
    if started.start is None:
        count = words.number_word(len(periods.after))
        return f"No step was found; the last {count} months are held against those before. {trend}"
    low, high = (month_name(months[k]) for k in (started.first or 0, started.last or 0))
    span = "" if low == high else f" (nine in ten: {low} to {high})"
    how = "the exams one by one" if periods.by_exams else "the best partition of the months"
    return f"{first}{span}, by {how}. {trend}"


def _p(value: float) -> str:
    return "under 0.001" if value < 0.001 else f"{value:.3f}"


def _against_words(periods: _Periods, criteria_id: str | None) -> str:
    before, after = periods.before, periods.after
    return (
        f"{_span(after)} against {_span(before)}, all judged by {criteria_id}. Months of another "
        "criteria set are left out."
    )


def _span(months: Sequence[date]) -> str:
    first, last = month_name(months[0]), month_name(months[-1])
    return first if first == last else f"{first} to {last}"


def _notes(measure: Measure, *, has_model: bool) -> tuple[str, ...]:
    model = (
        "Patients: what the frozen model expects of them, without probe and technique, which are "
        "parts of their own."
        if has_model
        else "This measure is not adjusted, so what other patients moved stands in the remainder."
    )
    return (
        model,
        "Parts are averaged over all orders in which factors may have changed and over the "
        "explanations by their probability; they add up exactly. Intervals: 200 bootstrap draws of "
        "the exams. Probabilities hold if one thing moved; two at once are not weighed.",
        "What, and since when: exams one by one, every month as a start; of results the values, "
        "with a level of each patient: those who come again tell a device from new patients.",
        "The evidence is in the exams only. Phantom checks, events of the equipment and what the "
        "site knows of its referrals count for more.",
    )


def _nothing(site_id: str, name: str, measure: Measure, month: date) -> ExplainView:
    return ExplainView(
        site_id,
        name,
        measure,
        month,
        f"{name}: too few months to say whether {measure.event} have moved.",
        f"{FEWEST_MONTHS} months with exams under the criteria set of {month_name(month)} are "
        "needed.",
        *((),) * 6,
        caution=GRADE_CAUTION if measure.is_grade else CAUTION,
        is_told=False,
    )
