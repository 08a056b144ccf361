"""Invented names of places and people; every one is built from a list and stands for nobody."""

import numpy as np


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split())


_PLACE_FIRST = _words(
    "Alder Bracken Cowrie Dunlin Eider Fulmar Gannet Heron Ivory Kelp Linnet Merlin Nettle Osprey "
    "Plover Quartz Rowan Sorrel Tansy Umber Velvet Willow Yarrow Amber Birch Curlew Damson Elder "
    "Fennel Gorse Hazel Indigo Juniper Kestrel Larch Marram Nutmeg Oyster Puffin Russet"
)
_PLACE_LAST = _words(
    "Sound Hill Bay Quay Point Cross Lane Mill Steps Strand Row Court Ness Holm Reach Ford Gate "
    "Haven Bank Cove Ridge Dale Spit Wick Moor"
)
_GIVEN_START = _words("Ar Be Cor Da El Fi Ga Hal Ise Jo Ka Lu Mi Nar Ol Pe Ra Sil Ta Ul Ve Wen Zo")
_GIVEN_END = _words("bin dra fo kel lin mo nath ovi ren sha tor una vel wyn zi")
_FAMILY_START = _words("Brun Cald Dreth Eng Fosk Grim Hask Ilv Jarn Korb Lund Morv Nesk Ost Prin")
_FAMILY_MIDDLE = _words("a e i o u ai ei ou")
_FAMILY_END = _words("bray dun fell gast holt kirn lock mond nar quist rook sted thorn vale wick")
MOST_PLACES = len(_PLACE_FIRST) * len(_PLACE_LAST)


def place_names(n: int) -> list[str]:
    """The first n place names of the list, all different.

    Raises: ValueError when more are asked for than the list can make (1,000).
    """
    if n > MOST_PLACES:
        raise ValueError(f"at most {MOST_PLACES} places")
    return [
        f"{_PLACE_FIRST[k % len(_PLACE_FIRST)]} "
        f"{_PLACE_LAST[(k + k // len(_PLACE_FIRST)) % len(_PLACE_LAST)]}"
        for k in range(n)
    ]


def place_id(name: str) -> str:
    """Example: place_id("Eider Point") → 'eider-point'"""
    return name.lower().replace(" ", "-")


def given_names(rng: np.random.Generator, n: int) -> np.ndarray:
    """n given names built from syllables."""
    return _joined(rng, n, _GIVEN_START, _GIVEN_END)


def family_names(rng: np.random.Generator, n: int) -> np.ndarray:
    """n family names built from syllables, each marked as invented."""
    names = _joined(rng, n, _FAMILY_START, _FAMILY_MIDDLE, _FAMILY_END)
    return np.char.add(names, " (invented)")


def _joined(rng: np.random.Generator, n: int, *parts: tuple[str, ...]) -> np.ndarray:
    words = np.full(n, "", dtype="U1")
    for part in parts:
        words = np.char.add(words, np.array(part)[rng.integers(0, len(part), n)])
    return words
