"""Numbers and lists as words, the same on every screen and in every pack."""

from collections.abc import Sequence
from math import isfinite

NUMBER_WORDS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
    "twenty",
)

NO_DATA = "no data"


def percent_number(share: float | None) -> str:
    """A share as a percent figure without its sign: 0.139 → '13.9'.

    One decimal; two where the share is above 0 and below 0.1 %, so that a rare event is not
    shown as none. None and nan → 'no data'.
    """
    if share is None or not isfinite(share):
        return NO_DATA
    points = share * 100
    return f"{points:.2f}" if 0 < points < 0.1 else f"{points:.1f}"


def percent(share: float | None) -> str:
    """Example: percent(0.139) → '13.9 %'"""
    number = percent_number(share)
    return number if number == NO_DATA else f"{number} %"


def interval(lower: float | None, upper: float | None) -> str:
    """Example: interval(0.092, 0.195) → '9.2 to 19.5'; an end that is not known → ''"""
    low, high = percent_number(lower), percent_number(upper)
    return "" if NO_DATA in (low, high) else f"{low} to {high}"


def percent_with_interval(share: float | None, lower: float | None, upper: float | None) -> str:
    """Example: percent_with_interval(0.139, 0.092, 0.195) → '13.9 % (9.2 to 19.5)'"""
    ends = interval(lower, upper)
    text = percent(share)
    return f"{text} ({ends})" if ends and text != NO_DATA else text


def ratio_with_interval(ratio: float | None, lower: float | None, upper: float | None) -> str:
    """Example: ratio_with_interval(1.534, 0.924, 2.295) → '1.53 (0.92 to 2.30)'"""
    if ratio is None or lower is None or upper is None:
        return NO_DATA
    return f"{ratio:.2f} ({lower:.2f} to {upper:.2f})"


def whole(n: float | None) -> str:
    """A count with its thousands apart: 1684 → '1,684'."""
    return NO_DATA if n is None else f"{round(n):,}"


def number(value: float | None, *, decimals: int = 1, unit: str = "") -> str:
    """Example: number(9.24, unit='kPa') → '9.2 kPa'"""
    if value is None or not isfinite(value):
        return NO_DATA
    return f"{value:,.{decimals}f} {unit}".rstrip()


def number_word(n: int) -> str:
    """Example: number_word(3) → 'three'; from 21 on figures."""
    return NUMBER_WORDS[n] if 0 <= n < len(NUMBER_WORDS) else whole(n)


def counted(n: int, one: str, many: str = "") -> str:
    """Example: counted(1, 'exam') → '1 exam'; counted(1684, 'exam') → '1,684 exams'"""
    return f"{whole(n)} {one if n == 1 else many or one + 's'}"


def row_count(n: int) -> str:
    """For a list, one below the other: row_count(1) → '     1 row '."""
    return f"{n:>6} {'row ' if n == 1 else 'rows'}"


def counted_word(n: int, one: str, many: str = "") -> str:
    """Example: counted_word(2, 'site') → 'two sites'; counted_word(0, 'site') → 'no sites'"""
    return f"{number_word(n)} {one if n == 1 else many or one + 's'}"


def share_of(k: int, n: int, one: str, many: str = "") -> str:
    """Example: 'six of seven sites'; all: 'all seven sites'; 0: 'none of seven sites'."""
    if k == n == 1:
        return f"the one {one}"
    head = "all" if k == n else "none of" if k == 0 else f"{number_word(k)} of"
    return f"{head} {counted_word(n, one, many)}"


def listed(parts: Sequence[str]) -> str:
    """Example: listed(['a', 'b', 'c']) → 'a, b and c'"""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def as_sentence(text: str) -> str:
    """First letter large, one full stop: 'two sites are late' → 'Two sites are late.'"""
    return text[:1].upper() + text[1:].rstrip(".") + "." if text else ""


def lower_first(text: str) -> str:
    """For a title within a sentence: 'Unreliable exams' → 'unreliable exams'; 'IQR …' stays."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]
