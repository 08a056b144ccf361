"""Which signals of a month have one cause, and which of them stands for it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from qa.model.words import UnitKind
from qa.signals.devices import device_signal
from qa.signals.families import Families
from qa.signals.made import made_signal
from qa.signals.parts import Cells, Mask, Places, Shift, bad_tail, month_number

Row = dict[str, Any]

EXPLAINING_SHARE = 0.5
"""Part of a larger unit's excess from which smaller units stand for it."""

COMMON_PACE = 0.5
"""How far the others must have moved, of what all together have, to make a cause common."""

FEW_OTHERS = 0.2
"""Share of a site's exams below which the others are hardly anybody."""

MOST_OF_ONE = 0.75
"""Part of the others' excess from which one of them alone has moved, and not all."""

BEYOND_TAIL = 0.01
"""Chance below which a unit has moved further than what it shares with the others explains."""

SAME_SESSION_SHARE = 0.5
"""Share of repeats made at once from which repeating itself is the cause."""


class MonthCauses:
    """One month's signals, joined by the rules of cause_rules.py; lead_of: who stands for whom."""

    def __init__(self, rows: Sequence[Row], *, families: Families, places: Places) -> None:
        self.rows: dict[str, Row] = {row["signal_id"]: row for row in rows}
        self.families, self.places = families, places
        self.lead_of: dict[str, str] = {}

    def join(self) -> None:
        for site_id in sorted({row["site_id"] for row in self.rows.values() if row["site_id"]}):
            self._join_site(site_id)
        self._join_measures(is_network=False)
        self._join_effects()
        self._join_network()

    def standing(self, rows: Iterable[Row] | None = None) -> list[Row]:
        """Rows that stand for themselves so far, most at stake first."""
        those = self.rows.values() if rows is None else rows
        free = [row for row in those if row["signal_id"] not in self.lead_of]
        return sorted(free, key=lambda row: (-row["at_stake"], row["signal_id"]))

    def lead(self, signal_id: str) -> str:
        """The signal that stands for this one in the end."""
        while signal_id in self.lead_of:
            signal_id = self.lead_of[signal_id]
        return signal_id

    def _put(self, row: Row, lead: Row) -> None:
        """Let `lead` stand for `row`, never in a circle."""
        if self.lead(lead["signal_id"]) != row["signal_id"]:
            self.lead_of[row["signal_id"]] = lead["signal_id"]

    # 1 and 2: sites, their operators and devices

    def _join_site(self, site_id: str) -> None:
        own = [row for row in self.rows.values() if row["site_id"] == site_id]
        by_measure: dict[tuple[str, str, str], list[Row]] = defaultdict(list)
        for row in own:
            by_measure[(row["measure_id"], row["criteria_id"], row["direction"])].append(row)
        for rows in by_measure.values():
            site = next((row for row in rows if row["unit_kind"] == UnitKind.SITE), None)
            operators = [row for row in rows if row["unit_kind"] == UnitKind.OPERATOR]
            changed = [row for row in operators if row["is_change"]]
            if site is not None:
                self._join_operators(site, operators)
            elif len(changed) > 1:
                site = self._find_site(site_id, changed)
            if self.families.is_of_device(rows[0]["measure_id"]):
                self._find_device(site_id, site, changed)

    def _join_operators(self, site: Row, operators: list[Row]) -> None:
        cells = self._cells(site["site_id"], site)
        able = [
            row
            for row in operators
            if row["is_change"]
            or not site["is_change"]
            or _shift(cells, cells.of_units([row["unit_id"]]), site).is_surely_moved
        ]
        if not able:
            return
        own = sorted(
            ((_shift(cells, cells.of_units([row["unit_id"]]), site).excess, row) for row in able),
            key=lambda one: (-one[0], one[1]["signal_id"]),
        )
        rest = ~cells.of_units(row["unit_id"] for row in able)
        n_all = _shift(cells, cells.everyone, site).n
        if len(able) > 1 and _shift(cells, rest, site).n < FEW_OTHERS * n_all:
            rest = ~cells.of_units([own[0][1]["unit_id"]])
        others = self._common(cells, rest, site)
        if others is not None:
            for row in able:
                if not _is_beyond(row, others):
                    self._put(row, site)
        elif sum(excess for excess, _ in own) >= EXPLAINING_SHARE * site["at_stake"]:
            self._put(site, own[0][1])

    def _common(self, cells: Cells, rest: Mask, row: Row) -> Shift | None:
        """The rest, where it moved too and not by one of its units alone; else None."""
        others = _shift(cells, rest, row)
        pace = COMMON_PACE * row["at_stake"] / row["n"]
        if not others.is_moved or others.excess < pace * others.n:
            return None
        names = cells.units(
            rest, since=month_number(row["since_month"]), to=month_number(row["month"])
        )
        excess = {one: _shift(cells, rest & cells.of_units([one]), row).excess for one in names}
        top = max(names, key=lambda one: (excess[one], one))
        is_one = excess[top] >= others.excess * MOST_OF_ONE
        return None if is_one and len(names) > 1 else others

    def _find_site(self, site_id: str, operators: list[Row]) -> Row | None:
        """The site where nearly all who examine there moved, without a signal of its own."""
        first = sorted(operators, key=lambda row: (row["since_month"], row["signal_id"]))[
            len(operators) // 2
        ]
        cells = self._cells(site_id, first)
        rest = _shift(cells, ~cells.of_units(row["unit_id"] for row in operators), first)
        whole = _shift(cells, cells.everyone, first)
        if rest.n >= FEW_OTHERS * whole.n and not rest.is_moved:
            return None
        if not whole.is_surely_moved or not all(_meet(first, row) for row in operators):
            return None
        site = made_signal(
            cells, cells.everyone, first, unit=(UnitKind.SITE, site_id), before=whole
        )
        self._add(site)
        for row in operators:
            self._put(row, site)
        return site

    def _add(self, row: Row) -> None:
        self.rows[row["signal_id"]] = row

    def _find_device(self, site_id: str, site: Row | None, changed: list[Row]) -> None:
        stands = site is not None and site["is_change"] and site["signal_id"] not in self.lead_of
        if not stands and len(changed) < 2:
            return
        first = site if site is not None and site["is_change"] else changed[0]
        cells = self._cells(site_id, first)
        found = device_signal(cells, first, operators=changed)
        if found is None:
            return
        device, faces = found
        self._add(device)
        own = [site] if site is not None and site["is_change"] else []
        for row in (*faces, *own):
            self.lead_of.pop(row["signal_id"], None)
            self._put(row, device)

    # 3 and 4: measures that one cause moves together

    def _join_measures(self, *, is_network: bool) -> None:
        by_unit: dict[tuple[str, str, str, str], list[Row]] = defaultdict(list)
        for row in self.standing():
            if (row["unit_kind"] == UnitKind.NETWORK) != is_network:
                continue
            family = self.families.of(row["measure_id"])
            by_unit[(row["unit_kind"], row["unit_id"], family, row["criteria_id"])].append(row)
        for rows in by_unit.values():
            while len(rows) > 1:
                lead = self._choose_lead(rows)
                faces = [row for row in rows if row is not lead and _meet(lead, row)]
                for row in faces:
                    self._put(row, lead)
                rows = [row for row in rows if row is not lead and row not in faces]

    def _choose_lead(self, rows: list[Row]) -> Row:
        """The one with most at stake; what only follows leads alone, or where it is the cause."""
        at_once = [row for row in rows if row["at_once_share"] >= SAME_SESSION_SHARE]
        causes = [row for row in rows if not self.families.is_effect(row["measure_id"])]
        return (at_once or causes or rows)[0]

    def _join_effects(self) -> None:
        effects = [
            row
            for row in self.standing()
            if self.families.is_effect(row["measure_id"])
            and row["unit_kind"] != UnitKind.NETWORK
            and row["at_once_share"] < SAME_SESSION_SHARE
        ]
        for row in effects:
            family = self.families.of(row["measure_id"])
            causes = [
                one
                for one in self.standing()
                if one["site_id"] == row["site_id"]
                and one not in effects
                and self.families.of(one["measure_id"]) == family
                and one["since_first"] <= row["since_last"]
            ]
            wrong = sum(one["at_stake"] for one in causes)
            if causes and wrong >= EXPLAINING_SHARE * row["at_stake"]:
                self._put(row, causes[0])

    # 5: the network

    def _join_network(self) -> None:
        network = [row for row in self.standing() if row["unit_kind"] == UnitKind.NETWORK]
        for row in network:
            family = self.families.of(row["measure_id"])
            parts = [
                one
                for one in self.standing()
                if one["unit_kind"] != UnitKind.NETWORK
                and self.families.of(one["measure_id"]) == family
                and (one["is_change"] or not row["is_change"])
            ]
            if parts:
                self._join_parts(row, parts)
        self._join_measures(is_network=True)

    def _join_parts(self, network: Row, parts: list[Row]) -> None:
        cells = self._cells(None, network)
        rest = ~cells.of_units(row["site_id"] for row in parts)
        same = [row for row in parts if row["measure_id"] == network["measure_id"]]
        sites = [row["site_id"] for row in same if row["unit_kind"] == UnitKind.SITE]
        n_all = _shift(cells, cells.everyone, network).n
        if len(sites) > 1 and _shift(cells, rest, network).n < FEW_OTHERS * n_all:
            rest = cells.of_units(sites[1:])
        others = self._common(cells, rest, network)
        if others is not None:
            for row in same:
                if not _is_beyond(row, others):
                    self._put(row, network)
            return
        follows = self.families.is_effect(network["measure_id"])
        able = parts if follows or not same else same
        if sum(row["at_stake"] for row in able) >= EXPLAINING_SHARE * network["at_stake"]:
            self._put(network, able[0])

    def _cells(self, site_id: str | None, row: Row) -> Cells:
        return self.places.cells(
            site_id, measure_id=row["measure_id"], criteria_id=row["criteria_id"]
        )


def _shift(cells: Cells, part: Mask, row: Row) -> Shift:
    return cells.shift(
        part,
        since=month_number(row["since_month"]),
        to=month_number(row["month"]),
        centre=row["centre"],
        side=row["side"],
    )


def _is_beyond(row: Row, others: Shift) -> bool:
    """Whether a unit is further off than the others are, beyond chance."""
    tail = bad_tail(
        row["n_events"],
        row["n"],
        event_weight=others.n_events + 0.5,
        other_weight=others.n - others.n_events + 0.5,
        side=row["side"],
    )
    return tail <= BEYOND_TAIL


def _meet(one: Row, other: Row) -> bool:
    """Whether the months in which two changes may have begun have one in common."""
    return bool(
        one["since_first"] <= other["since_last"] and other["since_first"] <= one["since_last"]
    )
