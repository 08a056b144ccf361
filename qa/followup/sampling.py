"""Which exams are read a second time: by chance that can be repeated, and picks with a reason.

Method: the SHA-256 of "seed:exam key" puts the frame into an order that nobody chooses; the first n
    are the sample. It hangs on the seed and the set of keys only, not on their order, the machine
    or a library's generator, so that anybody can draw it again.
Size: a share of the frame, rounded up, and at least a minimum (share: common practice of peer
    review, from memory; minimum: a proposal).
Weak when: whoever draws could try seeds. So seeds come from the machine, a month is drawn once, and
    frame, seed and day are kept.
References: FIPS 180-4 for SHA-256.
"""

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from math import ceil

import polars as pl

from qa.model.competence_words import READ_OUTCOMES, PickReason
from qa.model.words import RepeatKind

METHOD = "sha256-order.v1"
EXTREME_SHARE = 0.95
"""Picks lie beyond this share of the network's exams of the month (a proposal)."""


def exam_code(seed: str, exam_key: str) -> str:
    """What a reader sees of an exam: eight signs that say nothing of whose it is."""
    return _place(seed, exam_key)[:8]


def _place(seed: str, exam_key: str) -> str:
    return hashlib.sha256(f"{seed}:{exam_key}".encode()).hexdigest()


def draw_sample(frame: Collection[str], *, seed: str, n: int) -> tuple[str, ...]:
    """n keys of a frame by chance, in the order of the draw; all where there are fewer.

    Example: frame {"a", "b", "c"}, seed "0", n 2 → two keys, the same each time.
    """
    ordered = sorted(set(frame), key=lambda key: (_place(seed, key), key))
    return tuple(ordered[: max(n, 0)])


def sample_size(n_frame: int, *, share: float, minimum: int) -> int:
    """Example: 5 % of 100, at least 3 → 5; of 41 → 3; of 2 → 2."""
    return min(n_frame, max(minimum, ceil(round(share * n_frame, 9))))


def sampling_frame(exams: pl.DataFrame) -> pl.DataFrame:
    """Exams that can be read again: judged, and no try that was started anew."""
    is_try = pl.col("repeat_kind").eq_missing(RepeatKind.RESTART.value)
    return exams.filter(pl.col("outcome").is_in(READ_OUTCOMES) & ~is_try).sort("exam_key")


@dataclass(frozen=True)
class Pick:
    """An exam proposed for a second reading. shown: the figure that stands out, in words."""

    exam_key: str
    reason: PickReason
    shown: str


def proposed_picks(month_exams: pl.DataFrame, frame: Iterable[str]) -> list[Pick]:
    """Exams of a frame that lie far out among those of the whole network in the month.

    Args: month_exams: every published exam of the month.
    Returns: the most extreme spread, stiffness and attenuation beyond the network's 95 %, and
        pairs of low stiffness with high attenuation (lowest against highest quarter); each once.
    References: targeted re-review in the NHANES quality assurance section.
    """
    exams = sampling_frame(month_exams)
    own = exams.filter(pl.col("exam_key").is_in(list(frame)))
    found: dict[str, Pick] = {}
    for column, reason, unit in (
        ("ratio_share", PickReason.SPREAD, ""),
        ("stiffness_kpa", PickReason.STIFFNESS, " kPa"),
        ("attenuation_db_m", PickReason.ATTENUATION, " dB/m"),
    ):
        limit = exams[column].quantile(EXTREME_SHARE, "linear")
        if limit is None:
            continue
        far = own.filter(pl.col(column) > limit).sort(column, "exam_key", descending=[True, False])
        for key, value in far.select("exam_key", column).head(1).iter_rows():
            found.setdefault(key, Pick(key, reason, _figure(value, unit)))
    for pick in _odd_pairs(exams, own):
        found.setdefault(pick.exam_key, pick)
    return list(found.values())


def _odd_pairs(exams: pl.DataFrame, own: pl.DataFrame) -> list[Pick]:
    low, high = exams["stiffness_kpa"].quantile(0.25), exams["attenuation_db_m"].quantile(0.75)
    if low is None or high is None:
        return []
    pairs = own.filter((pl.col("stiffness_kpa") < low) & (pl.col("attenuation_db_m") > high))
    columns = ("exam_key", "stiffness_kpa", "attenuation_db_m")
    return [
        Pick(key, PickReason.PAIR, f"{_figure(kpa, ' kPa')}, {_figure(db_m, ' dB/m')}")
        for key, kpa, db_m in pairs.select(columns).iter_rows()
    ]


def _figure(value: float, unit: str) -> str:
    return f"{value:.1f}{unit}" if unit else f"IQR/median {100 * value:.1f} %"
