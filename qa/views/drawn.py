"""One series drawn as the chart that fits it, or as another that is asked for."""

from dataclasses import dataclass, replace
from datetime import date

from qa.charts.choose import ChosenChart, choose_chart
from qa.charts.continuous import CONTINUOUS_MEASURES, ContinuousMeasure
from qa.charts.draw import is_monthly
from qa.charts.kinds import CHART_KINDS, ChartKind
from qa.charts.months_of import SeriesMonths
from qa.measures import counted_noun, is_of_rows
from qa.model.definitions import Measure
from qa.model.months import add_months, month_of
from qa.model.published import Published
from qa.views.drawn_choice import (
    MONTHS,
    OFFERED_LIMITS,
    POOLS,
    QUARTERS,
    DrawChoice,
    RuleOption,
    find_limits,
    find_rules,
    limits_text,
    limits_words,
    rule_options,
)
from qa.views.drawn_exams import ExamChart, exam_chart, exam_kinds
from qa.views.drawn_point import DrawnPoint, points_of_days
from qa.views.drawn_points import DrawnPart, event_part, monthly_part
from qa.views.drawn_series import SeriesPart, counts_of, in_quarters, series_parts
from qa.views.drawn_words import (
    baseline_lines,
    between_warning,
    pool_reason,
    run_length_words,
    unit_of,
)
from qa.views.modes import mixed_text
from qa.views.names import unit_name

CONTINUOUS_IDS: tuple[str, ...] = tuple(CONTINUOUS_MEASURES)
AS_IT_FITS = DrawChoice()

# Kinds whose points are shares, so that a target can be drawn among them.
SHARES = ("p", "p-prime", "ewma")


@dataclass(frozen=True)
class DrawnView:
    """A chart with why it was chosen, and what else it can be drawn as.

    Args:
        series_id: id of the measure or continuous measure.
        unit: "%" (values are shares), or a word.
        warning: what weakens it; "" where nothing does.
        arl_text: how often the chart as drawn calls by chance.
        options: (code, title, is it drawn, is it the one that fits).
        limit_options: (as in a link, words, is it drawn); empty where limits have no width.
        rule_options: run rules to switch; empty where they make no sense.
        pool_options: (code, word, is it drawn); empty for charts event by event.
        baselines: each baseline that a part of the chart is drawn against, in words.
        target: the network's target in force, a share; None where there is none.
        about: what a continuous measure is and what moves it; of a success rate, exams of other
            acquisition modes that are left out; "" for any other measure.
        noun: what n counts, one of them.
    """

    series_id: str
    title: str
    kind: ChartKind
    unit: str
    reason: str
    warning: str
    arl_text: str
    points: tuple[DrawnPoint, ...]
    options: tuple[tuple[str, str, bool, bool], ...]
    limit_options: tuple[tuple[str, str, bool], ...]
    rule_options: tuple[RuleOption, ...]
    pool_options: tuple[tuple[str, str, bool], ...]
    baselines: tuple[str, ...]
    about: str
    noun: str = "exam"
    target: float | None = None


@dataclass(frozen=True)
class _Drawing:
    """How a series is drawn in the end."""

    chosen: ChosenChart
    kind: ChartKind
    pool: str
    sigmas: float
    limits: str
    rules: tuple[str, ...]
    why_pooled: str

    @property
    def is_by_exam(self) -> bool:
        """Drawn exam by exam against what was expected of each patient."""
        return not self.kind.quantities


def drawn_view(
    published: Published,
    *,
    unit_kind: str,
    unit_id: str,
    series_id: str,
    last_month: date,
    months: int = 24,
    choice: DrawChoice = AS_IT_FITS,
) -> DrawnView:
    """Draw a measure or continuous measure of one unit.

    Args:
        series_id: id of a measure, or of CONTINUOUS_MEASURES.
        months: length of what is shown; limits come from the baseline wherever it lies.
        choice: what is asked for; what does not fit the series is left to the tool.
    Raises: KeyError: an unknown series (pages check first).
    """
    continuous = CONTINUOUS_MEASURES.get(series_id)
    measure = continuous or published.definitions.measures[series_id]
    is_rows = isinstance(measure, Measure) and is_of_rows(measure)
    counts = counts_of(published, unit_kind, unit_id, last_month, is_rows=is_rows)
    parts = series_parts(published, counts, unit_kind=unit_kind, unit_id=unit_id, measure=measure)
    unit = (unit_kind, unit_id)
    more = () if is_rows or continuous else _exam_kinds(published, unit, measure)
    drawing = _decide(published, parts, measure, choice, is_rows=is_rows, more=more)
    if drawing.pool == QUARTERS:
        parts = [in_quarters(part) for part in parts]
    if drawing.is_by_exam:
        drawn, drawing = _draw_exams(published, measure, drawing, unit, last_month)
    else:
        drawn = _draw(published, parts, measure, drawing, unit=unit)
    first, after = add_months(last_month, 1 - months), add_months(last_month, 1)
    points = tuple(one for part in drawn for one in part.points if first <= one.day < after)
    about = _about(published, measure, unit, (first, last_month))
    view = DrawnView(
        series_id=series_id,
        title=f"{unit_name(published.network, unit_kind, unit_id)}: {measure.title}",
        kind=drawing.kind,
        unit=unit_of(
            drawing.kind.code,
            is_log=bool(continuous and continuous.is_log),
            own=continuous.unit if continuous else "",
        ),
        reason=" ".join(one for one in (drawing.chosen.reason, drawing.why_pooled) if one),
        warning=" ".join(
            one for one in (drawing.chosen.warning, between_warning(drawing.kind, points)) if one
        ),
        arl_text=run_length_words(
            drawn[-1].run_length, kind=drawing.kind, pool=drawing.pool, rules=drawing.rules
        ),
        points=points,
        options=tuple(
            (one.code, one.title, one is drawing.kind, one is drawing.chosen.kind)
            for one in (drawing.chosen.kind, *drawing.chosen.others)
        ),
        limit_options=_limit_options(drawing),
        rule_options=rule_options(drawing.rules) if _has_rules(drawing) else (),
        pool_options=_pool_options(drawing, parts[-1].series),
        baselines=baseline_lines(parts, is_own=isinstance(measure, Measure)),
        about=about,
        target=_target(published, measure, last_month) if drawing.kind.code in SHARES else None,
    )
    return _worded(view, counted_noun(measure)) if isinstance(measure, Measure) else view


def _target(
    published: Published, measure: Measure | ContinuousMeasure, month: date
) -> float | None:
    """The network's target of a measure in force in a month."""
    if not isinstance(measure, Measure):
        return None
    set_for = [
        one
        for one in published.network.targets
        if one.measure in (measure.id, measure.key) and month_of(one.from_day) <= month
    ]
    return max(set_for, key=lambda one: one.from_day).value if set_for else None


def _about(
    published: Published,
    measure: Measure | ContinuousMeasure,
    unit: tuple[str, str],
    months: tuple[date, date],
) -> str:
    if isinstance(measure, ContinuousMeasure):
        return f"{measure.sentence} What moves it: {measure.cause}."
    return mixed_text(published, measure, *unit, months=months)


def _decide(
    published: Published,
    parts: list[SeriesPart],
    measure: Measure | ContinuousMeasure,
    choice: DrawChoice,
    *,
    is_rows: bool,
    more: tuple[ChartKind, ...],
) -> _Drawing:
    """Pool first where months are too small, then choose the kind, then what was asked for.

    The kind is chosen from the newest baseline that is long enough to tell how months spread.
    """
    settings, newest = published.network.settings, parts[-1]
    reason = pool_reason(newest.series, min_n=measure.min_n)
    pool = choice.pool or (QUARTERS if reason else MONTHS)
    telling = next((one for one in reversed(parts) if one.is_long), newest)
    if pool == QUARTERS:
        newest, telling = in_quarters(newest), in_quarters(telling)
    series = newest.series
    chosen = replace(choose_chart(telling.series), warning=choose_chart(series).warning)
    if is_rows:
        chosen = _monthly_only(chosen, series)
    chosen = replace(chosen, others=(*chosen.others, *more))
    kinds = {one.code: one for one in (chosen.kind, *chosen.others)}
    kind = kinds.get(choice.kind or "", chosen.kind)
    asked = choice.limits if choice.limits and find_limits(choice.limits) else None
    limits = asked or limits_text(settings.limit_sigmas)
    rules = find_rules(choice.rules) if choice.rules else settings.run_rules
    return _Drawing(
        chosen=chosen,
        kind=kind,
        pool=pool if is_monthly(kind.code, series.quantity) else MONTHS,
        sigmas=find_limits(limits) or 3.0,
        limits=limits,
        rules=rules or (),
        why_pooled=reason if pool == QUARTERS and not choice.pool else "",
    )


def _exam_kinds(
    published: Published, unit: tuple[str, str], measure: Measure | ContinuousMeasure
) -> tuple[ChartKind, ...]:
    assert isinstance(measure, Measure)
    return exam_kinds(published, unit_kind=unit[0], unit_id=unit[1], measure=measure)


def _draw_exams(
    published: Published,
    measure: Measure | ContinuousMeasure,
    drawing: _Drawing,
    unit: tuple[str, str],
    last_month: date,
) -> tuple[list[DrawnPart], _Drawing]:
    assert isinstance(measure, Measure)
    found: ExamChart = exam_chart(
        published,
        unit_kind=unit[0],
        unit_id=unit[1],
        measure=measure,
        kind=drawing.kind.code,
        last_month=last_month,
    )
    chosen = replace(drawing.chosen, reason=found.reason, warning=found.warning)
    # Its limit is set for the textbook's run length from the unit's own exams.
    length = drawing.kind.arl if drawing.kind.arl is not None else float("nan")
    part = DrawnPart(tuple(points_of_days(found.points)), length)
    return [part], replace(drawing, chosen=chosen, why_pooled="")


def _draw(
    published: Published,
    parts: list[SeriesPart],
    measure: Measure | ContinuousMeasure,
    drawing: _Drawing,
    *,
    unit: tuple[str, str],
) -> list[DrawnPart]:
    code = drawing.kind.code
    if not is_monthly(code, parts[-1].series.quantity):
        assert isinstance(measure, Measure)  # only shares are drawn event by event
        return [event_part(published, unit, measure, code, parts[-1].span, drawing.sigmas)]
    is_log = isinstance(measure, ContinuousMeasure) and measure.is_log
    rules = drawing.rules if _has_rules(drawing) else ()
    return [
        monthly_part(
            part,
            number,
            kind=code,
            sigmas=drawing.sigmas,
            rules=rules,
            is_log=is_log and code not in ("s", "cusum"),
        )
        for number, part in enumerate(parts)
    ]


def _monthly_only(chosen: ChosenChart, series: SeriesMonths) -> ChosenChart:
    """Rows of files have no order of their own, so they are drawn by month only."""
    kinds = [one for one in (chosen.kind, *chosen.others) if is_monthly(one.code, series.quantity)]
    kind = chosen.kind if chosen.kind in kinds else CHART_KINDS["p"]
    reason = chosen.reason if kind is chosen.kind else "Rows of files are counted by month only."
    others = tuple(one for one in kinds if one is not kind)
    return replace(chosen, kind=kind, reason=reason, others=others)


def _has_width(drawing: _Drawing) -> bool:
    return not drawing.is_by_exam and drawing.kind.code not in ("ewma", "cusum")


def _has_rules(drawing: _Drawing) -> bool:
    """Run rules are for points that do not hang on each other: Shewhart charts."""
    return _has_width(drawing) and drawing.kind.code not in ("g", "t")


def _limit_options(drawing: _Drawing) -> tuple[tuple[str, str, bool], ...]:
    if not _has_width(drawing):
        return ()
    offered = dict.fromkeys((*OFFERED_LIMITS, drawing.limits))
    return tuple((one, limits_words(one), one == drawing.limits) for one in offered)


def _pool_options(drawing: _Drawing, series: SeriesMonths) -> tuple[tuple[str, str, bool], ...]:
    if not is_monthly(drawing.kind.code, series.quantity):
        return ()
    return tuple((code, word, code == drawing.pool) for code, word in POOLS.items())


def _worded(view: DrawnView, noun: str) -> DrawnView:
    """Sentences and units of charts speak of exams; a measure of rows says rows."""
    if noun == "exam":
        return view

    def worded(text: str) -> str:
        return text.replace("exams", f"{noun}s").replace("Exams", f"{noun.capitalize()}s")

    kind = replace(view.kind, sentence=worded(view.kind.sentence))
    unit, reason = worded(view.unit), worded(view.reason)
    return replace(view, kind=kind, unit=unit, reason=reason, noun=noun)
