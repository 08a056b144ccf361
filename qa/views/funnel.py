"""FUNNEL_POINTS → FunnelView: units of one kind side by side, with exact limits as curves."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import polars as pl

from qa.charts.curves import funnel_curve
from qa.model.case_mix_schemas import COVARIATE_WORDS
from qa.model.definitions import Measure
from qa.model.months import month_name
from qa.model.published import Published
from qa.model.words import PointState
from qa.views import words
from qa.views.names import unit_names
from qa.views.scope import criteria_of_month
from qa.views.shown import FunnelDot, FunnelView

HALF = 0.5


def funnel_view(
    published: Published,
    *,
    unit_kind: str,
    measure: Measure,
    month: date,
    own_id: str | None = None,
    own_site_id: str | None = None,
) -> FunnelView:
    """The funnel of one measure over the period that ends with the month.

    Args: own_id, own_site_id: the unit or the site whose units are marked as one's own.
    Returns: the view; without dots where no comparison is published for the month.
    """
    points = funnel_rows(published, unit_kind=unit_kind, measure_id=measure.id, month=month)
    names = unit_names(published.network)
    dots = tuple(
        _dot(row, names, is_own=_is_own(row, own_id, own_site_id))
        for row in points.iter_rows(named=True)
    )
    centre = next(iter(points["centre"].drop_nulls().to_list()), None)
    tau2 = next(iter(points["tau2"].drop_nulls().to_list()), None)
    is_adjusted = any(dot.adjusted is not None for dot in dots)
    curve = funnel_curve(centre, max_n=max((dot.plotted_n for dot in dots), default=0), tau2=tau2)
    return FunnelView(
        finding=_funnel_finding(dots, measure, unit_kind, centre),
        measure_id=measure.id,
        measure_title=measure.title,
        period_text=_period_text(points),
        from_month=points["from_month"].to_list()[0] if points.height else None,
        centre=centre,
        dots=dots,
        curve_n=curve.n,
        lcl95=curve.lcl95,
        ucl95=curve.ucl95,
        lcl998=curve.lcl998,
        ucl998=curve.ucl998,
        is_adjusted=is_adjusted,
        how_text=_how_text(published, points, measure, is_adjusted=is_adjusted),
        spread_lcl=curve.spread_lcl,
        spread_ucl=curve.spread_ucl,
    )


def _is_own(row: dict[str, Any], own_id: str | None, own_site_id: str | None) -> bool:
    return row["unit_id"] == own_id or (bool(own_site_id) and row["site_id"] == own_site_id)


def _dot(row: dict[str, Any], names: Mapping[tuple[str, str], str], *, is_own: bool) -> FunnelDot:
    expected, centre = row["expected"], row["centre"]
    like_all = row["n"]
    if expected is not None and centre:
        is_rare = centre <= HALF
        like_all = round(expected / centre if is_rare else (row["n"] - expected) / (1 - centre))
    return FunnelDot(
        unit_id=row["unit_id"],
        name=names.get((row["unit_kind"], row["unit_id"]), row["unit_id"]),
        site_id=row["site_id"],
        n=row["n"],
        n_events=row["n_events"],
        value=row["value"],
        lower=row["lower"],
        upper=row["upper"],
        state=row["state"],
        is_own=is_own,
        expected=expected,
        ratio_text=words.ratio_with_interval(row["ratio"], row["ratio_lower"], row["ratio_upper"]),
        adjusted=row["adjusted"],
        shrunken_text=words.percent_with_interval(
            row["shrunken"], row["shrunken_lower"], row["shrunken_upper"]
        ),
        plotted_n=max(like_all, 1),
    )


def _how_text(
    published: Published, points: pl.DataFrame, measure: Measure, *, is_adjusted: bool
) -> str:
    """What is adjusted for and what is not, and how much units differ beyond chance."""
    adjustment = published.definitions.adjustment_of(measure.id)
    if is_adjusted and adjustment is not None:
        covariates = words.listed([COVARIATE_WORDS[name] for name in adjustment.covariates])
        left_out = words.listed([one.what for one in adjustment.left_out])
        text = (
            f"Adjusted for {covariates} (found against expected, times the share of all); not "
            f"adjusted for {left_out}."
        )
    else:
        text = "Not adjusted for the patients seen: other patients alone may move a unit."
    phi = next(iter(points["phi"].drop_nulls().to_list()), None)
    if phi is None:
        return text
    if phi <= 1:
        return f"{text} Units differ by no more than chance."
    return (
        f"{text} Units differ by {words.number(phi)} times the variance of chance; the dashed "
        "limits allow for that."
    )


def funnel_rows(
    published: Published, *, unit_kind: str, measure_id: str, month: date
) -> pl.DataFrame:
    """FUNNEL_POINTS of one measure and month: units with exams, of the criteria set in force."""
    points = published.frame(
        "funnel_points", unit_kind=unit_kind, measure_id=measure_id, to_month=month
    ).filter(pl.col("n") > 0)
    criteria_id = criteria_of_month(published.network, month) or ""
    in_force = points.filter(pl.col("criteria_id") == criteria_id)
    return in_force if in_force.height else points


def _period_text(points: pl.DataFrame) -> str:
    if points.is_empty():
        return "No comparison is published for this month."
    first, last = points["from_month"].min(), points["to_month"].max()
    assert isinstance(first, date)
    assert isinstance(last, date)
    return f"Exams of {month_name(first)} to {month_name(last)}."


def _funnel_finding(
    dots: tuple[FunnelDot, ...], measure: Measure, unit_kind: str, centre: float | None
) -> str:
    if not dots:
        return f"{measure.title}: no data."
    n_look = sum(dot.state == PointState.LOOK for dot in dots)
    n_watch = sum(dot.state == PointState.WATCH for dot in dots)
    where = f"{words.percent(centre)} over all {unit_kind}s"
    outside = words.share_of(n_look, len(dots), unit_kind)
    text = f"{measure.title}, {where}: {outside} outside the 99.8 % limit"
    if n_watch:
        text += f", {words.number_word(n_watch)} more outside the 95 % limit"
    return text + "."
