"""What is known before a watched month: the baseline's exams, and what its peers add."""

import numpy as np
import polars as pl

from qa.model.words import UnitKind
from qa.stats.prior import peer_priors

# Kinds of units that are watched against the network's baseline until they have their own.
BORROWERS: tuple[UnitKind, ...] = (UnitKind.OPERATOR, UnitKind.DEVICE)

_PEERS = ("unit_kind", "measure_id", "criteria_id")


def baseline_weights(baselines: pl.DataFrame) -> pl.DataFrame:
    """Events and other exams known beforehand, for each baseline and kind of unit it judges.

    Args:
        baselines: BASELINES with baseline_no.
    Returns: baseline_no, unit_kind, event_weight, other_weight; one row for each baseline, and
        one for each network baseline and kind of unit that borrows it.
    Method: the baseline's own exams plus what its peers are worth (qa/stats/prior.py). A unit
        that borrows the network's share is known by its peers alone; where these say nothing,
        by the network's exams.
    """
    peers = _with_priors(baselines)
    own = peers.select(
        "baseline_no",
        "unit_kind",
        event_weight=pl.col("prior_events") + pl.col("n_events"),
        other_weight=pl.col("prior_others") + pl.col("n") - pl.col("n_events"),
    )
    lent = [_lent_weights(peers, own, str(kind)) for kind in BORROWERS]
    return pl.concat([own, *lent])


def _with_priors(baselines: pl.DataFrame) -> pl.DataFrame:
    ordered = baselines.sort("to_month")
    groups = ordered.select(pl.struct(_PEERS).rank("dense").cast(pl.Int64)).to_series()
    ends = ordered["to_month"].dt.year().cast(pl.Int64) * 12 + ordered["to_month"].dt.month()
    events, others = peer_priors(
        ordered["n_events"].to_numpy(),
        ordered["n"].to_numpy(),
        groups.to_numpy().astype(np.int64),
        ends.to_numpy(),
    )
    return ordered.with_columns(
        pl.Series("prior_events", events, dtype=pl.Float64),
        pl.Series("prior_others", others, dtype=pl.Float64),
    )


def _lent_weights(peers: pl.DataFrame, own: pl.DataFrame, kind: str) -> pl.DataFrame:
    network = peers.filter(pl.col("unit_kind") == UnitKind.NETWORK.value).join(
        own.select("baseline_no", "event_weight", "other_weight"), on="baseline_no"
    )
    of_kind = peers.filter(pl.col("unit_kind") == kind).select(
        "measure_id",
        "criteria_id",
        "to_month",
        pl.col("prior_events").alias("kind_events"),
        pl.col("prior_others").alias("kind_others"),
    )
    asked = network.join_asof(
        of_kind,
        on="to_month",
        by=["measure_id", "criteria_id"],
        strategy="backward",
        check_sortedness=False,
    )
    is_telling = pl.col("kind_events") + pl.col("kind_others") > 1
    return asked.select(
        "baseline_no",
        pl.lit(kind).alias("unit_kind"),
        event_weight=pl.when(is_telling).then("kind_events").otherwise("event_weight"),
        other_weight=pl.when(is_telling).then("kind_others").otherwise("other_weight"),
    )
