"""Planted events as arrays, and which exams or patients each of them touches."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from demo_sites.plan import Registers
from demo_sites.scenario import Event, Scenario


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return day.toordinal() - date(1970, 1, 1).toordinal()


@dataclass(frozen=True)
class Active:
    """One event: from which day to before which day it holds, and whom it touches."""

    index: int
    event: Event
    from_day: int
    before_day: int
    site: int = -1
    operator: int = -1
    device: int = -1

    def touches(
        self,
        *,
        day: np.ndarray,
        site: np.ndarray | None = None,
        operator: np.ndarray | None = None,
        device: np.ndarray | None = None,
    ) -> np.ndarray:
        """True where the day is within the event and the target is the event's."""
        result = (day >= self.from_day) & (day < self.before_day)
        for wanted, found in ((self.site, site), (self.operator, operator), (self.device, device)):
            if wanted >= 0:
                if found is None:
                    return np.zeros(len(day), dtype=bool)
                result = result & (found == wanted)
        return result

    def strength(self, day: np.ndarray) -> np.ndarray:
        """Size on a day: rises in a straight line over ramp_months, then stays."""
        size = self.event.size or 0.0
        if self.event.ramp_months == 0:
            return np.full(len(day), size)
        return size * np.clip((day - self.from_day + 15.2) / (30.4 * self.event.ramp_months), 0, 1)


@dataclass(frozen=True)
class ActiveEvents:
    """All events of a scenario, ready for the simulation."""

    events: tuple[Active, ...]

    def of_kind(self, kind: str) -> tuple[Active, ...]:
        return tuple(active for active in self.events if active.event.kind == kind)

    def draw(
        self,
        rng: np.random.Generator,
        kind: str,
        *,
        into: np.ndarray,
        day: np.ndarray,
        site: np.ndarray | None = None,
        operator: np.ndarray | None = None,
    ) -> np.ndarray:
        """True for a share `size` of the touched rows; writes the event's index into `into`."""
        result = np.zeros(len(day), dtype=bool)
        for active in self.of_kind(kind):
            touched = active.touches(day=day, site=site, operator=operator)
            hit = touched & (rng.random(len(day)) < active.strength(day))
            into[hit] = active.index
            result |= hit
        return result


def plan_events(scenario: Scenario, registers: Registers) -> ActiveEvents:
    """Turn ids and months into indices and days."""
    sites = {site.id: k for k, site in enumerate(scenario.sites)}
    operators = {person.id: k for k, person in enumerate(registers.operators)}
    devices = {device.id: k for k, device in enumerate(registers.devices)}
    return ActiveEvents(
        tuple(
            Active(
                index=k,
                event=event,
                from_day=day_number(event.start_month),
                before_day=day_number(event.end_before(scenario.last_month)),
                site=sites[event.site] if event.site else -1,
                operator=operators[event.operator] if event.operator else -1,
                device=devices[event.device] if event.device else -1,
            )
            for k, event in enumerate(scenario.events)
        )
    )
