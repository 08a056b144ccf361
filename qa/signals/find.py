"""The main function of the stage: from chart points and funnels to the month's list."""

from collections.abc import Mapping, Sequence
from datetime import date

import polars as pl

from qa.charts.budget import FUNNEL_PART, false_rates
from qa.charts.rules import FUNNEL
from qa.charts.series import SIDES
from qa.model.definitions import Measure, Settings
from qa.model.schemas import SIGNALS
from qa.model.words import Phase, UnitKind
from qa.signals.changes import find_changes
from qa.signals.explain import explain_signals, rank_signals
from qa.signals.peers import find_outliers
from qa.signals.sentences import Wording, word_signals

_ABOUT = ("unit_kind", "unit_id", "measure_id", "criteria_id", "month", "direction")
_DEFAULTS = Settings()

# Windows of twelve months overlap: a difference of this tail opens an item about once in three
# months and chances (simulated: 0.24 to 0.33 of the tail).
MONTHS_TO_RENEW = 3

# Signals two months apart are one item: the month between had no exams, or was a good one.
MOST_MONTHS_BETWEEN = 2

_PEER_FACTS = ("others_events", "others_n", "n_units")


def find_signals(
    points: pl.DataFrame,
    funnel: pl.DataFrame,
    *,
    measures: Sequence[Measure],
    names: Mapping[tuple[str, str], str],
    operator_sites: Mapping[str, str],
    settings: Settings = _DEFAULTS,
) -> pl.DataFrame:
    """List what needs a decision, each with its evidence, ranked by exams at stake.

    Args:
        points: CHART_POINTS of all units.
        funnel: FUNNEL_POINTS; a funnel speaks for its last month.
        measures: the measures in use; only watched ones raise signals.
        names: (unit kind, unit id) → name; the id stands where there is none.
        operator_sites: operator id → home site id, for operators that the points do not place.
        settings: false_items_per_month, the budget that peers' differences have to pass.
    Returns: SIGNALS, one row per unit, measure, criteria set and month, sorted by month and
        rank, the explained ones last.
    Method: a change is a watched month in state look; a difference is a unit outside its
        funnel by more than units differ anyway. Where both meet, the change is listed and the
        funnel stands among its evidence. at_stake is observed minus expected in the bad
        direction since since_month; its interval is Wilson's on the share, with the centre
        line taken as known. Signals of the same unit, measure and direction in months that
        follow each other (one may be missing) are one item, named after the month it opened.
    Weak when: patients change; nothing here is adjusted for who was examined.
    """
    watched = [measure.id for measure in measures if measure.is_watched]
    is_watched = pl.col("measure_id").is_in(watched)
    sides = {one.id: SIDES[one.better][0] for one in measures if len(SIDES[one.better]) == 1}
    charted = points.filter(is_watched)
    changes = find_changes(charted, bad_sides=sides)
    outliers = find_outliers(funnel.filter(is_watched), points, tails=_tails(charted, settings))
    signals = _with_items(_with_home_sites(_merge(changes, outliers), operator_sites))
    signals = rank_signals(explain_signals(_with_ids(signals)))
    wording = Wording(measures={measure.id: measure for measure in measures}, names=dict(names))
    worded = SIGNALS.conform(word_signals(signals, wording))
    is_explained = pl.col("rank") == 0
    return worded.sort("month", is_explained, "rank", "signal_id")


def _tails(points: pl.DataFrame, settings: Settings) -> dict[date, float]:
    """Probability beyond which a unit differs from its peers, by the month's budget."""
    watched = points.filter((pl.col("phase") == Phase.MONITORING) & (pl.col("n") > 0))
    rates = pl.Series("rate", false_rates(watched.with_columns(is_watched=True), settings))
    months = watched.select("month", rates).unique()
    return {
        month: min(FUNNEL.tail or 0, FUNNEL_PART * MONTHS_TO_RENEW * rate)
        for month, rate in months.iter_rows()
    }


def _with_items(signals: pl.DataFrame) -> pl.DataFrame:
    """Add item_id and opened_month: signals that carry each other on are one item."""
    about = [name for name in _ABOUT if name != "month"]
    ordered = signals.sort(*about, "month")
    number = pl.col("month").dt.year().cast(pl.Int32) * 12 + pl.col("month").dt.month()
    gap = (number - number.shift()).over(about)
    item = (gap.is_null() | (gap > MOST_MONTHS_BETWEEN)).cum_sum()
    opened = ordered.with_columns(item=item).with_columns(
        opened_month=pl.col("month").min().over("item")
    )
    parts = ("unit_kind", "unit_id", "measure_id", "criteria_id", "direction")
    month = pl.col("opened_month").dt.strftime("%Y-%m")
    return opened.with_columns(item_id=pl.concat_str(month, *parts, separator=".")).drop("item")


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
