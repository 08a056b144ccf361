"""Person or place? What can be told apart of operators and sites, and what cannot."""

from dataclasses import dataclass

import polars as pl

from qa.stats.conditional import split_test, stratified_split_test
from qa.stats.poisson import exact_poisson_interval

MICRO = 1_000_000
# One operator with this part of a site's exams is the site.
ALONE_SHARE = 0.9


@dataclass(frozen=True)
class Part:
    """Events of one operator at one site, or of the others there."""

    site_id: str
    n: int
    n_events: int
    expected: float
    ratio: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Apart:
    """One operator, place by place, beside the others of the same places.

    Args:
        places: the operator's own part at each site, most exams first.
        others: all others at these sites together, patients allowed for; None: nobody else.
        p_places: chance that the operator's events split so unevenly between sites.
        p_others: chance that events split so unevenly between operator and others, within sites.
        is_alone: the operator did nine tenths or more of the exams of the main site.
    """

    places: tuple[Part, ...]
    others: Part | None
    p_places: float
    p_others: float
    is_alone: bool


def tell_apart(expected: pl.DataFrame, operator_id: str) -> Apart | None:
    """Compare an operator with others within the same sites, and sites within the operator.

    Args:
        expected: EXPECTED_COUNTS of one measure, model and period; events are the bad ones.
    Returns: Apart; None where the operator has no exams.
    Method: given the events of a site, the operator's part of them is set against the part that
        was expected of the operator's patients: what the site does to all its exams drops out.
        In the same way, given the operator's events, their split between sites drops out what
        the operator does everywhere.
    Weak when: an operator does nearly all exams of a site: then nothing is left to compare with,
        and person and place cannot be told apart.
    """
    sums = expected.group_by("site_id", "operator_id").agg(
        pl.col("n_events", "n", "expected_micro").sum()
    )
    own = sums.filter(operator_id=operator_id).sort("n", "site_id", descending=[True, False])
    if own.is_empty():
        return None
    places = tuple(_part(row) for row in own.iter_rows(named=True))
    others = _others(sums.filter(pl.col("operator_id") != operator_id), own)
    events, should = own["n_events"].to_list(), (own["expected_micro"] / MICRO).to_list()
    beside = [
        float(sums.filter(pl.col("operator_id") != operator_id, site_id=one.site_id)[name].sum())
        for name in ("n_events", "expected_micro")
        for one in places
    ]
    rest, rest_should = beside[: len(places)], [one / MICRO for one in beside[len(places) :]]
    main = sums.filter(site_id=places[0].site_id)
    return Apart(
        places=places,
        others=others,
        p_places=split_test(events, should),
        p_others=stratified_split_test(events, rest, should, rest_should),
        is_alone=places[0].n >= ALONE_SHARE * float(main["n"].sum()),
    )


def lone_operator(counts: pl.DataFrame) -> tuple[str, float] | None:
    """The operator who did nine tenths or more of a site's exams, and the share; None: nobody.

    Args: counts: rows of one site with operator_id and n_exams.
    """
    sums = counts.group_by("operator_id").agg(pl.col("n_exams").sum()).sort("n_exams")
    total = float(sums["n_exams"].sum())
    if not total or sums["n_exams"][-1] < ALONE_SHARE * total:
        return None
    return sums["operator_id"][-1], sums["n_exams"][-1] / total


def _others(others: pl.DataFrame, own: pl.DataFrame) -> Part | None:
    beside = others.join(own.select("site_id"), on="site_id", how="semi")
    if beside.is_empty() or not beside["expected_micro"].sum():
        return None
    row = beside.select(pl.col("n_events", "n", "expected_micro").sum()).row(0, named=True)
    return _part(row | {"site_id": own["site_id"][0]})


def _part(row: dict[str, object]) -> Part:
    count, should = int(row["n_events"]), float(row["expected_micro"]) / MICRO  # type: ignore[call-overload,arg-type]
    lower, upper = exact_poisson_interval(count)
    scale = should if should > 0 else float("nan")
    return Part(
        site_id=str(row["site_id"]),
        n=int(row["n"]),  # type: ignore[call-overload]
        n_events=count,
        expected=should,
        ratio=count / scale,
        lower=float(lower) / scale,
        upper=float(upper) / scale,
    )
