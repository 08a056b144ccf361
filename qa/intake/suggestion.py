"""What a proposed profile is made of."""

from dataclasses import dataclass
from enum import StrEnum

from qa.intake.code_words import SuggestedCodes
from qa.intake.reading_layouts import LayoutGuess
from qa.intake.targets import TARGET_BY_NAME, Kind


class Sureness(StrEnum):
    SURE = "sure"
    LIKELY = "likely"
    UNSURE = "unsure"


@dataclass(frozen=True)
class KnownCodes:
    """What network.toml knows of the site: codes of operators and devices, and its techniques."""

    operators: tuple[str, ...] = ()
    devices: tuple[str, ...] = ()
    sites: tuple[str, ...] = ()
    techniques: tuple[str, ...] = ()


@dataclass(frozen=True)
class Placed:
    """One target with its source.

    Args:
        why: what speaks for it, in words.
        unit, date_form, codes: further keys of the profile, where they could be told.
        date_forms: all forms that fit, where they are several and none was chosen.
    """

    target: str
    heading: str
    sureness: Sureness
    why: str
    constant: str | None = None
    unit: str | None = None
    date_form: str | None = None
    date_forms: tuple[str, ...] = ()
    codes: SuggestedCodes | None = None


@dataclass(frozen=True)
class Suggestion:
    """A proposed profile.

    Args:
        placed: in the order of the targets.
        layout: where single readings stand, if they do.
        identifying: headings that are kept out because of what stands there.
        unplaced: heading → what it looks like.
        questions: what a person must decide, in words.
    """

    placed: tuple[Placed, ...]
    layout: LayoutGuess | None = None
    identifying: tuple[str, ...] = ()
    unplaced: tuple[tuple[str, str], ...] = ()
    questions: tuple[str, ...] = ()

    @property
    def first_of(self) -> tuple[str, ...]:
        """Times that differ among the rows of one exam: the first counts."""
        return tuple(one for one in self._changing if one in ("exam_at", "exam_time"))

    @property
    def mean_of(self) -> tuple[str, ...]:
        """Numbers that differ among the rows of one exam: their mean counts."""
        kinds = (Kind.NUMBER, Kind.WHOLE)
        return tuple(
            one for one in self._changing if one in TARGET_BY_NAME
            and TARGET_BY_NAME[one].kind in kinds
        )  # fmt: skip

    @property
    def _changing(self) -> list[str]:
        headings = self.layout.changing if self.layout else ()
        return [one.target for one in self.placed if one.heading in headings]

    def of(self, target: str) -> Placed | None:
        return next((one for one in self.placed if one.target == target), None)
