"""Another way to read a month: which charts stand out now, at a bounded share of false ones."""

from collections.abc import Mapping

import numpy as np
import polars as pl

from qa.model.words import Phase
from qa.stats.multiplicity import benjamini_hochberg
from qa.stats.predictive import predictive_upper_tail

FALSE_SHARE = 0.05


def month_p_values(
    points: pl.DataFrame, baselines: pl.DataFrame, *, bad_sides: Mapping[str, int]
) -> pl.DataFrame:
    """The watched points of one month with the chance of a month as bad, and that adjusted.

    Args:
        points: CHART_POINTS of watched measures in one month.
        baselines: BASELINES, for how many exams each centre line rests on.
        bad_sides: measure id → 1 where more is worse, -1 where less is; both for the others.
    Returns: monitored points with exams, with expected_events, p and adjusted_p, smallest p first.
    Method: beta-binomial tail of the month alone on the bad side, the centre line known by the
        exams of its baseline (predictive.py), doubled where both sides are bad; then
        Benjamini and Hochberg's step-up over all points. Keeping those with adjusted_p up to q
        keeps at most a share q of false ones on average.
    Weak when: changes are small and last: one month alone does not show them. A site's point and
        its operators' depend on each other, in the direction that the method allows.
    References: Benjamini, Hochberg, J R Stat Soc B 1995; 57: 289-300.
    """
    watched = points.filter(
        (pl.col("phase") == Phase.MONITORING) & (pl.col("n") > 0) & pl.col("centre").is_not_null()
    ).join(baselines.select("baseline_id", known="n"), on="baseline_id", how="left")
    n, events = watched["n"].to_numpy(), watched["n_events"].to_numpy()
    centre, known = watched["centre"].to_numpy(), watched["known"].fill_null(0).to_numpy()
    weights = centre * known + 0.5, (1 - centre) * known + 0.5
    more = predictive_upper_tail(events, n, event_weight=weights[0], other_weight=weights[1])
    fewer = predictive_upper_tail(n - events, n, event_weight=weights[1], other_weight=weights[0])
    side = np.array([bad_sides.get(one, 0) for one in watched["measure_id"]])
    both = np.minimum(2 * np.minimum(more, fewer), 1.0)
    p = np.where(side > 0, more, np.where(side < 0, fewer, both))
    return watched.with_columns(
        expected_events=pl.col("n") * pl.col("centre"),
        p=pl.Series(p, dtype=pl.Float64),
        adjusted_p=pl.Series(benjamini_hochberg(p), dtype=pl.Float64),
    ).sort("p", "unit_kind", "unit_id", "measure_id")
