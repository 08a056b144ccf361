"""How well a heading speaks for a target, and which unit it names."""

import re
import unicodedata

from qa.intake.heading_words import (
    FILL_WORDS,
    FRAGMENTS,
    IDENTIFYING,
    IQR,
    PHRASES,
    UNIT_WORDS,
)
from qa.model.words import AttenuationUnit, StiffnessUnit

_CAMEL = re.compile(r"(?<=[a-zà-ÿ]{3})(?=[A-Z])")
_FEWEST_LETTERS = 5

_UNITS: tuple[tuple[str, str], ...] = (
    ("dbcmmhz", AttenuationUnit.DB_CM_MHZ),
    ("dbm", AttenuationUnit.DB_M),
    ("kpa", StiffnessUnit.KPA),
    ("ms", StiffnessUnit.M_S),
)


_QUANTITY_OF: dict[str, str] = {
    StiffnessUnit.KPA: "stiffness",
    StiffnessUnit.M_S: "stiffness",
    AttenuationUnit.DB_M: "attenuation",
    AttenuationUnit.DB_CM_MHZ: "attenuation",
}
_OF_QUANTITIES = (
    "stiffness", "stiffness_iqr", "attenuation", "attenuation_iqr", "stated_ratio_pct",
)  # fmt: skip
_BY_UNIT = 1.5
_UNIT_TEXT = r"\bkpa\b|\bm ?/ ?s\b|\bdb ?(/|per) ?(m\b|\(?cm[ ./·]*mhz\)?)|kPa$"


def plain_text(text: str) -> str:
    """Small letters without accents; ß as ss."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in parts if not unicodedata.combining(letter))


def words_of(heading: str) -> list[str]:
    """Words of a heading, without accents, in small letters.

    Example: "Gültige Messungen" → gultige, messungen; "ExamNo" → exam, no
    """
    apart = _CAMEL.sub(" ", heading)
    return re.findall(r"[a-z]+|\d+", plain_text(apart))


def heading_score(heading: str, target: str) -> float:
    """How well a heading speaks for a target: 0 not at all, 2 and more fully.

    Each word of the phrase counts one; one more when no other word is left, half less for each
    that is. Units and filling words do not count as left.
    """
    quantity, is_iqr = _named_by_unit(heading)
    if quantity and target in _OF_QUANTITIES and not target.startswith(quantity):
        return 0.0
    score = best_phrase(words_of(_without_units(heading)), PHRASES.get(target, ()))
    if quantity and target == (f"{quantity}_iqr" if is_iqr else quantity):
        return max(score, _BY_UNIT)
    return score


def _named_by_unit(heading: str) -> tuple[str, bool]:
    """The quantity whose unit a heading names, and whether it speaks of its spread."""
    unit = unit_in(heading)
    quantity = _QUANTITY_OF.get(unit or "", "")
    is_iqr = best_phrase(words_of(heading), tuple((word,) for word in IQR)) > 0
    return quantity, is_iqr


def _without_units(heading: str) -> str:
    return re.sub(_UNIT_TEXT, " ", heading, flags=re.IGNORECASE)


def best_phrase(words: list[str], phrases: tuple[tuple[str, ...], ...]) -> float:
    return max((_phrase(words, phrase) for phrase in phrases), default=0.0)


def _phrase(words: list[str], phrase: tuple[str, ...]) -> float:
    left = list(words)
    for stem in phrase:
        hit = next((word for word in left if _starts(word, stem)), None)
        if hit is None:
            return 0.0
        left.remove(hit)
    others = [word for word in left if word not in UNIT_WORDS and word not in FILL_WORDS]
    return len(phrase) + (1.0 if not others else -0.5 * min(len(others), 1.5 * len(phrase)))


def _starts(word: str, stem: str) -> bool:
    return word == stem[1:] if stem.startswith("=") else word.startswith(stem)


def has_fragment(heading: str, target: str) -> bool:
    """A piece of the target's word stands in a heading that is one long word."""
    words = words_of(heading)
    if len(words) != 1 or len(words[0]) < _FEWEST_LETTERS:
        return False
    return any(piece in words[0] for piece in FRAGMENTS.get(target, ()))


def is_identifying(heading: str) -> bool:
    return best_phrase(words_of(heading), IDENTIFYING) > 0


def unit_in(heading: str) -> str | None:
    """The unit that a heading names, "" for percent.

    Example: "Stiffness IQR (kPa)" → kPa; "Vitesse [m/s]" → m/s; "Valid" → None
    """
    plain = re.sub(r"[\s_]*(?:/|(?<=[\s_])per(?=[\s_]))[\s_]*", "/", plain_text(heading))
    if "%" in plain:
        return "%"
    for spelled in re.findall(r"[a-z]+(?:[/·]\(?[a-z]+(?:[.·/][a-z]+)*\)?)*", plain):
        bare = re.sub(r"[^a-z]", "", spelled)
        found = next((unit for short, unit in _UNITS if bare == short), None)
        if found is not None:
            return str(found)
    return None
