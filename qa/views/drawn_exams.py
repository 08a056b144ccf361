"""A series drawn exam by exam against what was expected of each patient, or of a newcomer."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from scipy.special import expit, logit

from qa.case_mix.attach import baseline_mix
from qa.case_mix.bands import covariate_levels
from qa.case_mix.expected import expected_shares
from qa.charts.exam_charts import DayPoints, learning, risk_cusum, vlad
from qa.charts.kinds import CHART_KINDS, ChartKind
from qa.counts import count_each
from qa.model.definitions import Measure
from qa.model.months import add_months, month_name
from qa.model.published import Published
from qa.model.words import Better, Phase, RepeatKind, UnitKind
from qa.views import words

RISK_CUSUM, VLAD, LEARNING = "ra-cusum", "vlad", "learning"
MOST_COMMON = 0.5


@dataclass(frozen=True)
class ExamChart:
    """Points of a chart and the sentences beside them."""

    points: DayPoints
    reason: str
    warning: str


def exam_kinds(
    published: Published, *, unit_kind: str, unit_id: str, measure: Measure
) -> tuple[ChartKind, ...]:
    """Kinds that the series can be drawn as exam by exam; none without a model or a newcomer."""
    found = []
    if unit_kind in (UnitKind.SITE, UnitKind.OPERATOR):
        models = published.frame("risk_models", measure_id=measure.id)
        found += [RISK_CUSUM, VLAD] if models.height else []
    if unit_kind == UnitKind.OPERATOR and measure.better != Better.NEITHER:
        person = published.network.operator(unit_id)
        found += [LEARNING] if person is not None and person.started is not None else []
    return tuple(CHART_KINDS[code] for code in found)


def exam_chart(
    published: Published,
    *,
    unit_kind: str,
    unit_id: str,
    measure: Measure,
    kind: str,
    last_month: date,
) -> ExamChart:
    """Draw one of exam_kinds, up to the end of last_month."""
    if kind == LEARNING:
        return _learning(published, unit_id, measure, last_month)
    return _fair(published, unit_kind, unit_id, measure, kind, last_month)


def _exams(
    published: Published, unit_kind: str, unit_id: str, measure: Measure, last_month: date
) -> pl.DataFrame:
    """Exams of the measure's denominator in the order of time, with is_event."""
    exams = published.frame("exams", **{f"{unit_kind}_id": unit_id}).filter(
        pl.col("month") <= last_month,
        pl.col("repeat_kind").ne_missing(RepeatKind.RESTART.value),
    )
    each = count_each(exams, [*measure.numerator, *measure.denominator])
    counted = each.select(
        "exam_key",
        is_event=pl.sum_horizontal(*set(measure.numerator)) > 0,
        is_counted=pl.sum_horizontal(*set(measure.denominator)) > 0,
    )
    return exams.join(counted, on="exam_key").filter("is_counted").sort("exam_at", "exam_key")


def _fair(
    published: Published,
    unit_kind: str,
    unit_id: str,
    measure: Measure,
    kind: str,
    last_month: date,
) -> ExamChart:
    points = published.frame(
        "chart_points", unit_kind=unit_kind, unit_id=unit_id, measure_id=measure.id
    ).filter(pl.col("month") <= last_month, pl.col("phase") == Phase.MONITORING.value)
    exams = _exams(published, unit_kind, unit_id, measure, last_month)
    judged = exams.join(
        points.select("month", "criteria_id", "baseline_id", "model_id"),
        on=["month", "criteria_id"],
    ).drop_nulls(["model_id", "baseline_id"])
    newest = judged.tail(1)
    judged = judged.join(newest, on=["criteria_id", "baseline_id"], how="semi")
    expected = _expected(published, judged)
    draw: Callable[..., DayPoints] = risk_cusum if kind == RISK_CUSUM else vlad
    found = draw(judged["exam_on"].to_list(), judged["is_event"].to_numpy(), expected)
    return ExamChart(found, *_fair_words(judged, expected))


def _fair_words(judged: pl.DataFrame, expected: np.ndarray) -> tuple[str, str]:
    if judged.is_empty():
        return "No exams after a baseline with a model yet.", ""
    n, events = judged.height, int(judged["is_event"].sum())
    reason = (
        f"Asked for. {words.counted(n, 'exam')} since {month_name(judged['month'][0])}, each "
        f"against what the model expects of its patient, at the level of the unit's baseline: "
        f"{words.whole(events)} found, {words.number(float(expected.sum()))} expected."
    )
    few = expected.sum() < 5
    return reason, "Fewer than five events are expected so far: it can hardly call." if few else ""


def _expected(published: Published, judged: pl.DataFrame) -> np.ndarray:
    """Chance of the event for each exam, at the level of the baseline that judges it."""
    if judged.is_empty():
        return np.zeros(0)
    kinds = judged.with_columns(**covariate_levels())
    chances = np.full(judged.height, np.nan)
    numbers = judged["model_id"].to_numpy()
    for model_id in judged["model_id"].unique(maintain_order=True):
        own = published.frame("risk_coefficients", model_id=model_id)
        at = np.flatnonzero(numbers == model_id)
        chances[at] = expected_shares(kinds[at], own)
        chances[at] = expit(logit(chances[at]) + _level(published, judged, model_id))
    return chances


def _level(published: Published, judged: pl.DataFrame, model_id: str) -> float:
    """Log odds of the baseline's centre less those that the model expects of its exams."""
    baseline = published.frame("baselines", baseline_id=judged["baseline_id"][0])
    row = baseline.row(0, named=True)
    place = (
        {} if row["unit_kind"] == UnitKind.NETWORK else {f"{row['unit_kind']}_id": row["unit_id"]}
    )
    expected = published.frame("expected_counts", model_id=model_id, **place)
    mix = baseline_mix(baseline, expected=expected).filter(baseline_id=row["baseline_id"])
    if mix.is_empty():
        return 0.0
    centre = min(max(row["centre"], 0.5 / (row["n"] + 1)), 1 - 0.5 / (row["n"] + 1))
    return float(logit(centre) - logit(mix["share"][0]))


def _learning(published: Published, unit_id: str, measure: Measure, last_month: date) -> ExamChart:
    exams = _exams(published, UnitKind.OPERATOR.value, unit_id, measure, last_month)
    is_bad = exams["is_event"] if measure.better == Better.LOWER else ~exams["is_event"]
    criteria = exams["criteria_id"].unique().to_list()
    peers = published.frame("baselines", unit_kind="network", measure_id=measure.id).filter(
        pl.col("criteria_id").is_in(criteria)
    )
    if exams.is_empty() or peers.is_empty():
        nothing = vlad([], [], [])
        return ExamChart(nothing, "The network has no baseline to hold a newcomer against.", "")
    share = peers.sort("set_at")["centre"][-1]
    share = share if measure.better == Better.LOWER else 1 - share
    if not 0 < share < MOST_COMMON:
        nothing = vlad([], [], [])
        return ExamChart(nothing, "Too common or never seen in the network: no learning curve.", "")
    found = learning(exams["exam_on"].to_list(), is_bad.to_numpy(), acceptable=share)
    started = month_name(add_months(exams["month"][0], 0))
    aim = (
        f"A newcomer is held against the network's {words.percent(share)} and against "
        f"{words.percent(found.unacceptable)}, odds twice as high. "
    )
    said = (
        f"After {words.counted(found.shown_after, 'exam')} since {started} the evidence reached "
        "its limit: as good as the others."
        if found.shown_after
        else f"Not shown yet after {words.counted(exams.height, 'exam')} since {started}."
    )
    return ExamChart(found.points, aim + said, "Not adjusted: are the patients easy ones?")
