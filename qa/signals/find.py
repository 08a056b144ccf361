"""The main function of the stage: from chart points and funnels to the month's list."""

from collections.abc import Mapping, Sequence

import polars as pl

from qa.charts.rules import FUNNEL
from qa.model.definitions import Measure
from qa.model.schemas import SIGNALS
from qa.model.words import UnitKind
from qa.signals.changes import find_changes
from qa.signals.explain import explain_signals, rank_signals
from qa.signals.peers import find_outliers
from qa.signals.sentences import Wording, word_signals

_ABOUT = ("unit_kind", "unit_id", "measure_id", "criteria_id", "month", "direction")
_PEER_FACTS = ("others_events", "others_n", "n_units")


def find_signals(
    points: pl.DataFrame,
    funnel: pl.DataFrame,
    *,
    measures: Sequence[Measure],
    names: Mapping[tuple[str, str], str],
    operator_sites: Mapping[str, str],
) -> pl.DataFrame:
    """List what needs a decision, each with its evidence, ranked by exams at stake.

    Args:
        points: CHART_POINTS of all units.
        funnel: FUNNEL_POINTS; a funnel speaks for its last month.
        measures: the measures in use; only watched ones raise signals.
        names: (unit kind, unit id) → name; the id stands where there is none.
        operator_sites: operator id → home site id, for operators that the points do not place.
    Returns: SIGNALS, one row per unit, measure, criteria set and month, sorted by month and
        rank, the explained ones last.
    Method: a change is a watched month in state look; a difference is a unit outside its
        funnel by more than units differ anyway. Where both meet, the change is listed and the
        funnel stands among its evidence. at_stake is observed minus expected in the bad
        direction since since_month; its interval is Wilson's on the share, with the centre
        line taken as known.
    Weak when: patients change; nothing here is adjusted for who was examined.
    """
    watched = [measure.id for measure in measures if measure.is_watched]
    is_watched = pl.col("measure_id").is_in(watched)
    changes = find_changes(points.filter(is_watched))
    outliers = find_outliers(funnel.filter(is_watched), points)
    signals = _with_home_sites(_merge(changes, outliers), operator_sites)
    signals = rank_signals(explain_signals(_with_ids(signals)))
    wording = Wording(measures={measure.id: measure for measure in measures}, names=dict(names))
    worded = SIGNALS.conform(word_signals(signals, wording))
    is_explained = pl.col("rank") == 0
    return worded.sort("month", is_explained, "rank", "signal_id")


def _merge(changes: pl.DataFrame, outliers: pl.DataFrame) -> pl.DataFrame:
    """Changes with the funnel's rule and facts beside them, and outliers that are no change."""
    facts = outliers.select(*_ABOUT, *_PEER_FACTS)
    both = changes.join(facts, on=_ABOUT, how="left").with_columns(
        rules=pl.when(pl.col("n_units").is_not_null())
        .then(pl.concat_list("rules", pl.lit(FUNNEL.code)).list.sort())
        .otherwise("rules"),
        is_change=pl.lit(True),
    )
    alone = outliers.join(changes.select(_ABOUT), on=_ABOUT, how="anti")
    return pl.concat([both, alone.with_columns(is_change=pl.lit(False))], how="diagonal")


def _with_home_sites(signals: pl.DataFrame, operator_sites: Mapping[str, str]) -> pl.DataFrame:
    home = pl.col("unit_id").replace_strict(
        dict(operator_sites), default=None, return_dtype=pl.String
    )
    is_unplaced = (pl.col("unit_kind") == UnitKind.OPERATOR.value) & pl.col("site_id").is_null()
    is_site = pl.col("unit_kind") == UnitKind.SITE.value
    return signals.with_columns(
        site_id=pl.when(is_site).then("unit_id").when(is_unplaced).then(home).otherwise("site_id")
    )


def _with_ids(signals: pl.DataFrame) -> pl.DataFrame:
    """Ids made of what a signal is about, so that a later refresh gives the same one."""
    parts = ("unit_kind", "unit_id", "measure_id", "criteria_id")
    month = pl.col("month").dt.strftime("%Y-%m")
    return signals.with_columns(signal_id=pl.concat_str(month, *parts, separator="."))
