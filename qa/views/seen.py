"""What one person sees of a snapshot: own sites and operators by name, others as unnamed peers.

The only place where results are held back. Pages, charts, hover texts, tables and downloads are
made from the snapshot that comes out of here, so none of them can show more; an id of another site
is unknown in it, as if it did not exist.
"""

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

import polars as pl

from qa.model.definitions import Network
from qa.model.permissions import Actor, Permission, Reach
from qa.model.published import Definitions, Published
from qa.model.schemas import CHART_POINTS
from qa.model.words import UnitKind
from qa.views.names import NETWORK_ID, spoken_name, unit_names
from qa.views.small_cells import without_small_cells, without_telling_totals

REST = "the other sites"
"""Stands for all other sites together, where only their sum is shown."""
_FULL = (Permission.SEE_RESULTS, Permission.SEE_OPERATORS, Permission.SEE_EXAMS)


@dataclass(frozen=True)
class Sight:
    """How far somebody sees.

    Args:
        sites: whose results are seen, with their operators by name.
        intake_sites: of which it is seen what came in; None: files that name no site.
        operators: who are seen by name: those of the sites, and oneself.
        named_sites: whose names (and devices) are seen.
        sees_peers: peers are shown at all, unnamed.
        peer_key: orders peers; another one for each account.
    """

    sites: frozenset[str]
    intake_sites: frozenset[str | None]
    operators: frozenset[str]
    named_sites: frozenset[str]
    sees_peers: bool
    peer_key: str


def seen_by(published: Published, actor: Actor, *, peer_key: str = "") -> Published:
    """The snapshot as this person may see it; the snapshot itself for who may see all of it."""
    if all(Reach.NETWORK in actor.reaches(one) for one in _FULL):
        return published
    return Seen(published, _sight(actor, published.network, peer_key))


def _sight(actor: Actor, network: Network, peer_key: str) -> Sight:
    reaches = actor.reaches(Permission.SEE_RESULTS)
    sites = frozenset(actor.sites) if Reach.OWN_SITES in reaches else frozenset()
    own = frozenset({actor.operator_id} - {""}) if Reach.SELF in reaches else frozenset()
    theirs = frozenset(one.id for one in network.operators if sites & set(one.sites))
    homes = {site for one in network.operators if one.id in own for site in one.sites}
    named = sites | homes
    intake: frozenset[str | None] = frozenset(sites)
    if Reach.NETWORK in actor.reaches(Permission.SEE_INTAKE):
        # Without results a name tells nothing; who sees some of them keeps unnamed peers.
        named = named if reaches else frozenset(one.id for one in network.sites)
        intake = named if reaches else named | {None}
    return Sight(sites, intake, theirs | own, named, bool(reaches), peer_key)


@dataclass(frozen=True)
class Seen:
    """Part of a snapshot (implements qa.model.published.Published)."""

    _published: Published
    _sight: Sight

    @property
    def snapshot_id(self) -> str:
        return self._published.snapshot_id

    @property
    def published_at(self) -> datetime:
        return self._published.published_at

    @property
    def software_version(self) -> str:
        return self._published.software_version

    @property
    def definitions(self) -> Definitions:
        return self._published.definitions

    @cached_property
    def network(self) -> Network:
        """Only what is seen by name."""
        whole, sight = self._published.network, self._sight
        return replace(
            whole,
            sites=tuple(one for one in whole.sites if one.id in sight.named_sites),
            operators=tuple(one for one in whole.operators if one.id in sight.operators),
            devices=tuple(one for one in whole.devices if sight.named_sites & set(one.sites)),
        )

    def frame(self, name: str, **equal_to: object) -> pl.DataFrame:
        """Raises: KeyError for a frame that no rule speaks of (our bug)."""
        rule = RULES[name]
        return rule(self, self._published.frame(name, **equal_to))

    # Rules

    def nothing(self, rows: pl.DataFrame) -> pl.DataFrame:
        """What no screen shows in part; released questions come from the follow-up store."""
        return rows.clear()

    def everything(self, rows: pl.DataFrame) -> pl.DataFrame:
        return rows

    def own_units(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The network as a whole, own sites, own operators, devices of own sites."""
        devices = [one.id for one in self.network.devices if self._sight.sites & set(one.sites)]
        kept = (
            _unit(UnitKind.NETWORK, [NETWORK_ID])
            | _unit(UnitKind.SITE, self._sight.sites)
            | _unit(UnitKind.OPERATOR, self._sight.operators)
            | _unit(UnitKind.DEVICE, devices)
        )
        return rows.filter(kept)

    def own_points(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Own units, and the network's totals where they leave no small cell of the others."""
        kept = self.own_units(rows)
        is_network = pl.col("unit_kind") == UnitKind.NETWORK.value
        kind = UnitKind.SITE if self._sight.sites else UnitKind.OPERATOR
        own = kept.filter(pl.col("unit_kind") == kind.value)
        keys = ["measure_id", "criteria_id", "month"]
        totals = without_telling_totals(kept.filter(is_network), own, keys)
        return pl.concat([kept.filter(~is_network), totals]).sort(CHART_POINTS.key)

    def own_signals(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Sentences may speak of others; their names are taken out."""
        return self.own_units(rows).with_columns(
            pl.col(name).map_elements(self._without_names, return_dtype=pl.String)
            for name in ("finding", "evidence", "how_sure", "probably_not", "suggestion")
        )

    def own_cells(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Counts and exams of own sites, and of oneself anywhere."""
        own = [one for one in self._sight.operators if not self._is_of_sites(one)]
        return rows.filter(
            pl.col("site_id").is_in(list(self._sight.sites)) | pl.col("operator_id").is_in(own)
        )

    def own_sites(self, rows: pl.DataFrame) -> pl.DataFrame:
        return rows.filter(pl.col("site_id").is_in(list(self._sight.sites)))

    def intake(self, rows: pl.DataFrame) -> pl.DataFrame:
        """What came in from the sites whose intake is seen."""
        sites = pl.Series(list(self._sight.intake_sites), dtype=pl.String)
        return rows.filter(pl.col("site_id").is_in(sites.implode(), nulls_equal=True))

    def grades(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Own cells, and all other sites together, so that the network's mix stays right."""
        own = self.own_cells(rows)
        if not self._sight.sites:
            return own
        rest = rows.join(own, on=rows.columns, how="anti", nulls_equal=True)
        one = pl.lit(REST)
        keys = [name for name in rows.columns if name != "n_exams"]
        rest = rest.with_columns(site_id=one, operator_id=one, device_id=one)
        sums = rest.group_by(keys).agg(pl.col("n_exams").sum()).select(rows.columns).sort(keys)
        group = [name for name in keys if name != "band"]
        return pl.concat([own, without_small_cells(sums, group, cells=["n_exams"])])

    def peers(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Own units as they are, others unnamed and without small cells."""
        is_own = _unit(UnitKind.SITE, self._sight.sites) | _unit(
            UnitKind.OPERATOR, self._sight.operators
        )
        if not self._sight.sees_peers:
            return rows.clear()
        cells = rows.filter(~is_own).with_columns(_rest=pl.col("n") - pl.col("n_events"))
        group = ["unit_kind", "measure_id", "criteria_id", "to_month"]
        others = without_small_cells(cells, group, cells=["n_events", "_rest"]).drop("_rest")
        others = pl.concat(
            [
                others.filter(pl.col("unit_kind") == kind).with_columns(
                    pl.col("unit_id").replace(self._peers[kind])
                )
                for kind in (UnitKind.SITE.value, UnitKind.OPERATOR.value)
            ]
        ).with_columns(self._peer_site)
        return pl.concat([rows.filter(is_own), others]).sort("unit_kind", "unit_id")

    # Parts

    def _is_of_sites(self, operator_id: str) -> bool:
        person = self.network.operator(operator_id)
        return bool(person and self._sight.sites & set(person.sites))

    @property
    def _peer_site(self) -> pl.Expr:
        """A site lead sees which peers belong together; an operator does not."""
        if not self._sight.sites:
            return pl.lit(None, dtype=pl.String).alias("site_id")
        return pl.col("site_id").replace(self._peers[UnitKind.SITE.value])

    @cached_property
    def _peers(self) -> dict[str, dict[str, str]]:
        """Unit kind → id of an unnamed unit → what it is called for this person."""
        whole, sight = self._published.network, self._sight
        sites = [one.id for one in whole.sites if one.id not in sight.sites]
        people = [one.id for one in whole.operators if one.id not in sight.operators]
        return {
            UnitKind.SITE.value: self._numbered("Peer site", sites),
            UnitKind.OPERATOR.value: self._numbered("peer", people),
        }

    def _numbered(self, word: str, ids: Iterable[str]) -> dict[str, str]:
        def place(one: str) -> str:
            return hashlib.sha256(f"{self._sight.peer_key}\n{word}\n{one}".encode()).hexdigest()

        ordered = sorted(ids, key=place)
        return {one: f"{word} {number:02d}" for number, one in enumerate(ordered, start=1)}

    @cached_property
    def _others(self) -> dict[str, str]:
        """Every name that is not shown → what stands for it."""
        whole, own = self._published.network, unit_names(self.network)
        found: dict[str, str] = {}
        for (kind, unit_id), name in unit_names(whole).items():
            if (kind, unit_id) in own:
                continue
            if kind == UnitKind.SITE:
                found[name] = "another site"
            else:
                found[name] = f"another {UnitKind(kind).value}"
                found[spoken_name(whole, kind, unit_id)] = found[name]
        return found

    @cached_property
    def _pattern(self) -> re.Pattern[str] | None:
        names = sorted(map(re.escape, self._others), key=len, reverse=True)
        return re.compile(rf"(?<!\w)({'|'.join(names)})(?!\w)", re.IGNORECASE) if names else None

    def _without_names(self, text: str) -> str:
        if self._pattern is None:
            return text
        by_low = {name.casefold(): stands for name, stands in self._others.items()}
        return self._pattern.sub(lambda found: by_low[found.group(0).casefold()], text)


def _unit(kind: UnitKind, ids: Iterable[str]) -> pl.Expr:
    return (pl.col("unit_kind") == kind.value) & pl.col("unit_id").is_in(list(ids))


RULES = {
    "chart_points": Seen.own_points,
    "baselines": Seen.own_units,
    "signals": Seen.own_signals,
    "funnel_points": Seen.peers,
    "exams": Seen.own_cells,
    "monthly_counts": Seen.own_cells,
    "case_mix_counts": Seen.nothing,
    "expected_counts": Seen.own_cells,
    "grade_counts": Seen.grades,
    "row_counts": Seen.intake,
    "files": Seen.intake,
    "quarantined": Seen.intake,
    "intake_months": Seen.intake,
    "equipment_events": Seen.own_sites,
    "practice_months": Seen.own_cells,
    "integrity": Seen.nothing,
    "risk_models": Seen.everything,
    "risk_coefficients": Seen.everything,
    "risk_quality": Seen.everything,
    "risk_calibration": Seen.everything,
}
"""What is seen of each published frame. A frame without a rule is not seen by anybody in part."""
