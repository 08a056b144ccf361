"""Methods of the fair comparison: what is adjusted for, what is not, and how well models fit."""

from datetime import date
from typing import Any

import polars as pl

from qa.case_mix.bands import AGE, BMI
from qa.model.adjustment import Adjustment
from qa.model.case_mix_schemas import COVARIATE_WORDS
from qa.model.months import month_name
from qa.model.published import Published
from qa.views import words
from qa.views.method import Method

PERIODS = (("fit", "months it was fitted on"), ("since", "months since"))


def fair_methods(published: Published) -> tuple[Method, ...]:
    """One entry for each measure that is adjusted, its newest model's figures among the facts."""
    adjustments = published.definitions.adjustments
    measures = published.definitions.measures
    newest = {one.measure: one for one in sorted(adjustments.values(), key=lambda one: one.version)}
    models = published.frame("risk_models")
    return tuple(
        _method(published, newest[key], measures[key].title, models.filter(measure_id=key))
        for key in sorted(newest)
        if key in measures
    )


def _method(
    published: Published, adjustment: Adjustment, title: str, models: pl.DataFrame
) -> Method:
    facts = [
        ("Adjusted for", words.listed([COVARIATE_WORDS[name] for name in adjustment.covariates])),
        *((f"Not for {one.what}", one.why) for one in adjustment.left_out),
        ("Bands", _bands(adjustment)),
        (
            "A level of its own",
            f"needs {words.whole(adjustment.min_exams)} exams, "
            f"{words.number_word(adjustment.min_events)} events and as many others; else it counts "
            "as the largest level. Values that were not sent are a level too.",
        ),
    ]
    for model in models.sort("in_force_from", "version_no").iter_rows(named=True):
        facts += _model_facts(published, model)
    if models.is_empty():
        facts.append(("Model", "none yet: too few months or events"))
    return Method(
        anchor=adjustment.id,
        code=adjustment.id,
        title=f"{title}, adjusted",
        sentence=adjustment.why,
        facts=tuple(facts),
        source=adjustment.source,
        confidence=adjustment.confidence,
    )


def _bands(adjustment: Adjustment) -> str:
    texts = [
        f"{COVARIATE_WORDS[name]}: {', '.join(bands.levels)} ({bands.source})"
        for name, bands in (("bmi", BMI), ("age", AGE))
        if name in adjustment.covariates
    ]
    return "; ".join(texts) or "none"


def _model_facts(published: Published, model: dict[str, Any]) -> list[tuple[str, str]]:
    name = f"Model {model['version_no']}, {model['criteria_id']}"
    span = f"{month_name(model['from_month'])} to {month_name(model['to_month'])}"
    judges = _in_force(model["in_force_from"])
    facts = [
        (
            name,
            f"logistic regression on {words.whole(model['n_exams'])} exams, "
            f"{words.whole(model['n_events'])} events, {span}; {judges}; "
            f"frozen by {model['set_by']} on {model['set_at']:%Y-%m-%d}: {model['reason']}; "
            f"fingerprint {model['fingerprint']}",
        ),
        (f"{name}: odds ratios", _odds_ratios(published, model["model_id"])),
    ]
    quality = {
        row["period"]: row
        for row in published.frame("risk_quality", model_id=model["model_id"]).iter_rows(named=True)
    }
    bands = published.frame("risk_calibration", model_id=model["model_id"])
    for period, text in PERIODS:
        if period in quality:
            facts.append((f"{name}: {text}", _quality(quality[period])))
            facts.append((f"{name}: by tenths, {text}", _tenths(bands.filter(period=period))))
    return facts


def _in_force(first: date) -> str:
    return "judges all months" if first.year < 1950 else f"judges from {month_name(first)} on"


def _odds_ratios(published: Published, model_id: str) -> str:
    """Levels in words with their odds ratio and its 95 % interval."""
    rows = published.frame("risk_coefficients", model_id=model_id)
    texts = []
    for covariate, title in COVARIATE_WORDS.items():
        own = rows.filter(covariate=covariate).sort("n_exams", descending=True)
        if own.is_empty():
            continue
        levels = [_level(row) for row in _with_ratios(own).iter_rows(named=True)]
        texts.append(f"{words.as_sentence(title).rstrip('.')} – {', '.join(levels)}")
    return "; ".join(texts)


def _with_ratios(rows: pl.DataFrame) -> pl.DataFrame:
    half = 1.959964 * pl.col("standard_error")
    return rows.with_columns(
        odds=pl.col("coefficient").exp(),
        low=(pl.col("coefficient") - half).exp(),
        high=(pl.col("coefficient") + half).exp(),
    )


def _level(row: dict[str, Any]) -> str:
    if row["role"] == "estimated":
        return f"{row['level']}: {words.ratio_with_interval(row['odds'], row['low'], row['high'])}"
    said = {"reference": "1 (reference)", "folded": "too few, as the reference"}
    return f"{row['level']}: {said.get(row['role'], 'cannot be told apart')}"


def _quality(row: dict[str, Any]) -> str:
    text = (
        f"{words.whole(row['n_events'])} events found, {words.whole(row['expected'])} expected of "
        f"{words.whole(row['n_exams'])} exams"
    )
    if row["c_statistic"] is None:
        return text
    return (
        f"{text}; discrimination (c) {row['c_statistic']:.2f}; calibration intercept "
        f"{row['intercept']:.2f}, slope {words.number(row['slope'], decimals=2)}"
    )


def _tenths(bands: pl.DataFrame) -> str:
    """Expected → found of each tenth of exams, the least expected first."""
    return (
        ", ".join(
            f"{words.percent_number(row['expected'])} → {words.percent_number(row['observed'])}"
            for row in bands.iter_rows(named=True)
        )
        + " % (expected → found)"
    )
