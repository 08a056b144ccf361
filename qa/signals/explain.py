"""Which signal stands for another, and the order of a month's list."""

import polars as pl

from qa.model.words import UnitKind

# Part of a larger unit's excess from which smaller units stand for it.
EXPLAINING_SHARE = 0.5

# So many sites or operators may stand for the network together; more are a common cause.
MOST_EXPLAINING = 3

_SAME = ("measure_id", "criteria_id", "month", "direction")


def explain_signals(signals: pl.DataFrame) -> pl.DataFrame:
    """Add explained_by: the operator's signal that stands for a site's, and so upwards.

    Args:
        signals: signals with signal_id, unit_kind, unit_id, site_id, at_stake, is_change and
            the columns that say what they are about.
    Returns: the same rows with explained_by; null where a signal stands for itself.
    Method: a site's signal is explained by that operator of the site who has most exams at
        stake in the same measure, month and direction, if it is at least half of the site's;
        the network's by the strongest of operators and unexplained sites, if the three
        strongest together have at least half of it. A change is explained by a change only,
        never by a lasting difference between peers.
    Weak when: several operators drift together; then nobody has half and the site stands.
    """
    operators = _of_kind(signals, UnitKind.OPERATOR)
    sites = _of_kind(signals, UnitKind.SITE)
    by_site = _strongest(sites, operators, [*_SAME, "site_id"], most=1)
    explained = by_site["signal_id"].to_list()
    standing = sites.filter(~pl.col("signal_id").is_in(explained))
    elsewhere = operators.join(standing, on=[*_SAME, "site_id"], how="anti")
    network = _of_kind(signals, UnitKind.NETWORK)
    by_network = _strongest(
        network, pl.concat([elsewhere, standing]), list(_SAME), most=MOST_EXPLAINING
    )
    return signals.join(pl.concat([by_site, by_network]), on="signal_id", how="left")


def rank_signals(signals: pl.DataFrame) -> pl.DataFrame:
    """Add rank: place in the month by exams at stake, 1 is most; 0 where explained."""
    ordered = signals.sort(["month", "at_stake", "signal_id"], descending=[False, True, False])
    stands = pl.col("explained_by").is_null()
    return ordered.with_columns(
        rank=pl.when(stands)
        .then(stands.cast(pl.Int32).cum_sum().over("month"))
        .otherwise(pl.lit(0))
        .cast(pl.Int32)
    )


def _of_kind(signals: pl.DataFrame, kind: UnitKind) -> pl.DataFrame:
    return signals.filter(pl.col("unit_kind") == kind.value).select(
        "signal_id", "site_id", "at_stake", "is_change", *_SAME
    )


def _strongest(
    larger: pl.DataFrame, smaller: pl.DataFrame, on: list[str], *, most: int
) -> pl.DataFrame:
    """signal_id and explained_by, its strongest part, where `most` parts have half or more."""
    pairs = larger.join(smaller, on=on, how="inner", suffix="_part").filter(
        pl.col("is_change_part") | ~pl.col("is_change")
    )
    stake = pl.col("at_stake_part")
    return (
        pairs.sort(["at_stake_part", "signal_id_part"], descending=[True, False])
        .group_by("signal_id", maintain_order=True)
        .agg(
            pl.col("signal_id_part").first().alias("explained_by"),
            is_half=stake.head(most).sum() >= EXPLAINING_SHARE * pl.col("at_stake").first(),
        )
        .filter("is_half")
        .drop("is_half")
    )
