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
from qa.signals.context import find_contexts
from qa.signals.families import families_of
from qa.signals.join import join_signals, rank_signals
from qa.signals.parts import places_of_counts, places_of_points
from qa.signals.peers import find_outliers
from qa.signals.repeated import add_at_once_share
from qa.signals.sentences import Wording, word_signals
from qa.signals.silent import carry_silent

_ABOUT = ("unit_kind", "unit_id", "measure_id", "criteria_id", "month", "direction")
_DEFAULTS = Settings()

# Windows of twelve months overlap: a difference of this tail opens an item about once in three
# months and chances (simulated: 0.24 to 0.33 of the tail).
MONTHS_TO_RENEW = 3

_PEER_FACTS = ("others_events", "others_n", "n_units")


def find_signals(
    points: pl.DataFrame,
    funnel: pl.DataFrame,
    *,
    measures: Sequence[Measure],
    names: Mapping[tuple[str, str], str],
    operator_sites: Mapping[str, str],
    settings: Settings = _DEFAULTS,
    counts: pl.DataFrame | None = None,
    expected: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """List what needs a decision, each with its evidence, ranked by exams at stake.

    Args:
        points: CHART_POINTS of all units.
        funnel: FUNNEL_POINTS; a funnel speaks for its last month.
        measures: the measures in use; only watched ones raise signals.
        names: (unit kind, unit id) → name; the id stands where there is none.
        operator_sites: operator id → home site id, for operators that the points do not place.
        settings: false_items_per_month, the budget that peers' differences have to pass.
        counts: MONTHLY_COUNTS, to tell devices apart; None: operators at their home sites only.
        expected: EXPECTED_COUNTS, so that other patients are no change of those who share them.
    Returns: SIGNALS, one row per unit, measure, criteria set and month, sorted by month and
        rank, the explained ones last.
    Method: a change is a watched month in state look; a difference is a unit outside its
        funnel by more than units differ anyway. Where both meet, the change is listed and the
        funnel stands among its evidence. at_stake is observed minus expected in the bad
        direction since since_month; its interval is Wilson's on the share, with the centre
        line taken as known. Signals of one cause are one item (causes.py), which keeps its id
        (items.py); an item whose unit sent no exams stays for a while (silent.py).
    Weak when: patients change in a way that the expected share does not know.
    """
    watched = [measure.id for measure in measures if measure.is_watched]
    is_watched = pl.col("measure_id").is_in(watched)
    sides = {one.id: SIDES[one.better][0] for one in measures if len(SIDES[one.better]) == 1}
    charted = points.filter(is_watched)
    changes = find_changes(charted, bad_sides=sides)
    outliers = find_outliers(funnel.filter(is_watched), points, tails=_tails(charted, settings))
    merged = carry_silent(_merge(changes, outliers), charted)
    signals = _with_ids(_with_home_sites(merged, operator_sites))
    families = families_of(measures)
    signals = add_at_once_share(signals, counts, families=families)
    places = (
        places_of_points(charted)
        if counts is None
        else places_of_counts(counts, measures, expected)
    )
    signals = rank_signals(join_signals(signals, families=families, places=places))
    wording = Wording(
        measures={measure.id: measure for measure in measures},
        names=dict(names),
        contexts=find_contexts(
            signals, points, places=places, measures=measures, families=families
        ),
        n_charts=_charts_watched(charted),
    )
    worded = SIGNALS.conform(word_signals(signals, wording))
    is_explained = pl.col("rank") == 0
    return worded.sort("month", is_explained, "rank", "signal_id")


def _charts_watched(points: pl.DataFrame) -> dict[date, int]:
    watched = points.filter((pl.col("phase") == Phase.MONITORING) & (pl.col("n") > 0))
    return dict(watched.group_by("month").len().iter_rows())


def _tails(points: pl.DataFrame, settings: Settings) -> dict[date, float]:
    """Probability beyond which a unit differs from its peers, by the month's budget."""
    watched = points.filter((pl.col("phase") == Phase.MONITORING) & (pl.col("n") > 0))
    rates = pl.Series("rate", false_rates(watched.with_columns(is_watched=True), settings))
    months = watched.select("month", rates).unique()
    return {
        month: min(FUNNEL.tail or 0, FUNNEL_PART * MONTHS_TO_RENEW * rate)
        for month, rate in months.iter_rows()
    }


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
