"""Which measures one cause moves together, and which of them only follow others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qa.model.definitions import Measure


@dataclass(frozen=True)
class Family:
    """Measures that one slip moves together.

    Args:
        causes: keys of measures where the slip itself shows.
        effects: keys of measures that follow: they move because exams go wrong, and lead an item
            only where no cause moved with them.
    """

    name: str
    causes: tuple[str, ...]
    effects: tuple[str, ...] = ()
    is_of_device: bool = False


TECHNIQUE = "technique"

FAMILIES: tuple[Family, ...] = (
    Family(
        TECHNIQUE,
        causes=("unreliable", "incomplete", "failed", "attenuation_unreliable"),
        effects=("repeats", "first_pass", "never_repeated", "not_reliable", "reliable"),
        is_of_device=True,
    ),
    Family(
        "preparation",
        causes=("preparation_recorded", "fasting_breach", "preparation_kept"),
    ),
)
"""A rule of this tool: exams that go wrong are made again (repeats, first pass), and movement or a
poor window spoils several figures of one exam. A measure in no family is a family of its own."""


@dataclass(frozen=True)
class Families:
    """Measure id → family and part in it."""

    family: Mapping[str, str]
    effects: frozenset[str]
    repeats: frozenset[str]
    of_devices: frozenset[str]

    def of(self, measure_id: str) -> str:
        return self.family.get(measure_id, measure_id)

    def is_effect(self, measure_id: str) -> bool:
        return measure_id in self.effects

    def is_technique(self, measure_id: str) -> bool:
        return self.of(measure_id) == TECHNIQUE

    def is_repeats(self, measure_id: str) -> bool:
        return measure_id in self.repeats

    def is_of_device(self, measure_id: str) -> bool:
        """Whether a device can be the reason."""
        return measure_id in self.of_devices


def families_of(measures: Sequence[Measure]) -> Families:
    """Families by the keys of the measures in use."""
    by_key = {key: one.name for one in FAMILIES for key in (*one.causes, *one.effects)}
    effects = {key for one in FAMILIES for key in one.effects}
    from_devices = {key for one in FAMILIES if one.is_of_device for key in one.causes}
    return Families(
        family={one.id: by_key.get(one.key, one.id) for one in measures},
        effects=frozenset(one.id for one in measures if one.key in effects),
        of_devices=frozenset(one.id for one in measures if one.key in from_devices),
        repeats=frozenset(one.id for one in measures if one.key == "repeats"),
    )
