"""Codes of an unknown export → our words, where the dictionary knows them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from qa.intake.heading_match import plain_text
from qa.intake.targets import TARGET_BY_NAME, Kind

_YES = ("yes", "y", "ja", "j", "oui", "o", "si", "s", "true")
_NO = ("no", "n", "nein", "non", "false")
_UNKNOWN = ("unknown", "unbekannt", "inconnu", "desconocido", "not recorded", "nicht erfasst")
CODE_WORDS: dict[str, dict[str, tuple[str, ...]]] = {
    "technique": {
        "TE": ("te", "transient", "transiente", "impulsionnelle", "transitoria"),
        "pSWE": ("pswe", "point", "arfi", "punkt", "punto"),
        "2D-SWE": ("2d-swe", "2d swe", "2dswe", "image", "bild", "imagen", "swe 2d"),
    },
    "probe": {
        "standard": ("standard", "std", "normal", "adult", "erwachsene", "estandar"),
        "large-patient": ("large-patient", "large", "lrg", "gross", "grande", "grand", "obese"),
        "paediatric": ("paediatric", "pediatric", "ped", "paed", "child", "kind", "enfant",
                       "pediatrique", "nino", "pediatrica", "small"),
    },
    "performed": {
        "performed": ("performed", "done", "yes", "ja", "oui", "si", "complete", "completed",
                      "final", "durchgefuhrt", "realise", "realizado", "y", "j", "o"),
        "ineligible": ("ineligible", "excluded", "not eligible", "nicht geeignet", "non eligible",
                       "no elegible"),
        "refused": ("refused", "declined", "abgelehnt", "refus", "refuse", "rechazado"),
        "not done": ("not done", "cancelled", "canceled", "no", "nein", "non", "annule",
                     "abgesagt", "cancelado", "aborted"),
    },
    "order_type": {
        "first": ("first", "new", "initial", "erst", "erstuntersuchung", "premiere", "primera",
                  "baseline"),
        "follow-up": ("follow-up", "followup", "fu", "planned", "kontrolle", "suivi", "seguimiento",
                      "control", "verlauf"),
        "recall": ("recall", "called back", "wiedereinbestellung", "rappel", "recitacion"),
        "confirmation": ("confirmation", "confirm", "bestatigung", "controle",
                         "confirmacion"),
    },
    "sex": {
        "female": ("f", "female", "w", "weiblich", "femme", "feminin", "mujer", "femenino",
                   "woman"),
        "male": ("m", "male", "mannlich", "homme", "masculin", "hombre", "masculino", "h", "man"),
        "unknown": ("u", "unknown", "unbekannt", "inconnu", "desconocido", "x", "other", "d"),
    },
    "fasting_kept": {
        "kept": (*_YES, "kept"), "breach": (*_NO, "breach"), "not recorded": _UNKNOWN,
    },
    "position_kept": {
        "kept": (*_YES, "kept"), "breach": (*_NO, "breach"), "not recorded": _UNKNOWN,
    },
    "retracted": {"yes": _YES, "no": _NO},
    "acquisition_mode": {
        "fixed group": ("fixed group", "fixed", "group", "auto", "automatic", "automatisch"),
        "operator's choice": ("operator's choice", "choice", "manual", "single", "manuell"),
    },
    "stiffness_unit": {"kPa": ("kpa",), "m/s": ("m/s",)},
    "attenuation_unit": {"dB/m": ("db/m",), "dB/cm/MHz": ("db/cm/mhz",)},
}  # fmt: skip
"""Target → our word → how exports write it, in small letters without accents."""

SEX_BY_NUMBER = {"1": "male", "2": "female", "0": "unknown", "9": "unknown"}
"""ISO/IEC 5218 codes of the human sexes."""

YES_BY_NUMBER = {
    target: {"1": words[0], "0": words[1]}
    for target, words in {
        "fasting_kept": ("kept", "breach"),
        "position_kept": ("kept", "breach"),
        "retracted": ("yes", "no"),
    }.items()
}
"""1 and 0 alone in a column of yes and no. Common practice, no source; the site is asked."""

_LONG_WORD = 5
"""So many letters a known word needs to be looked for inside of a code of several words."""


@dataclass(frozen=True)
class SuggestedCodes:
    """known: (code of the source, our word). unknown: codes that nothing is known of.

    is_by_number: numbers read in the usual way, which the site may not follow.
    is_by_name: free codes of the site that stand for themselves.
    """

    known: tuple[tuple[str, str], ...]
    unknown: tuple[str, ...] = ()
    is_by_number: bool = False
    is_by_name: bool = False


def suggest_codes(target: str, words: Sequence[str]) -> SuggestedCodes:
    """Look up each code.

    A code of several words is known by the longest known word in it.

    Example: sex, ["w", "m"] → w female, m male; probe, ["Q"] → unknown Q
    """
    if TARGET_BY_NAME[target].kind == Kind.REASON:
        return SuggestedCodes(tuple((word, plain_text(word)) for word in words), is_by_name=True)
    if target == "sex" and words and all(word in SEX_BY_NUMBER for word in words):
        known = tuple((word, SEX_BY_NUMBER[word]) for word in words)
        return SuggestedCodes(known, is_by_number=True)
    if target in YES_BY_NUMBER and words and all(word in YES_BY_NUMBER[target] for word in words):
        known = tuple((word, YES_BY_NUMBER[target][word]) for word in words)
        return SuggestedCodes(known, is_by_number=True)
    ours = {spelled: word for word, ways in CODE_WORDS.get(target, {}).items() for spelled in ways}
    for word in TARGET_BY_NAME[target].words:
        ours.setdefault(plain_text(word), word)
    found = [(word, _our_word(plain_text(word).strip(), ours)) for word in words]
    return SuggestedCodes(
        tuple((word, own) for word, own in found if own is not None),
        tuple(word for word, own in found if own is None),
    )


def _our_word(code: str, ours: dict[str, str]) -> str | None:
    if code in ours:
        return ours[code]
    inside = [
        spelled
        for spelled in ours
        if len(spelled) >= _LONG_WORD and re.search(rf"\b{re.escape(spelled)}\b", code)
    ]
    return ours[max(inside, key=len)] if inside else None
