"""Bands of the covariates: each level is stated here once and shown on the Methods screen."""

from dataclasses import dataclass
from itertools import pairwise

import polars as pl

from qa.model.words import Probe, RepeatKind, Sex, Technique

UNKNOWN = "unknown"

_AGAIN = (RepeatKind.SAME_SESSION, RepeatKind.RECALL)
_PLANNED = (RepeatKind.CONFIRMATION, RepeatKind.DEFERRED, RepeatKind.FOLLOW_UP)


@dataclass(frozen=True)
class Bands:
    """A covariate that is a number: edges at which a new band begins, and why these.

    Args:
        column: column of EXAMS.
        edges: a value belongs to the band whose lower edge it reaches.
        levels: one name for each band, the lowest first.
    """

    column: str
    edges: tuple[float, ...]
    levels: tuple[str, ...]
    source: str

    def level(self) -> pl.Expr:
        """The band of each exam; a value that was not sent is a level of its own."""
        value = pl.col(self.column)
        found = pl.lit(self.levels[-1])
        for edge, name in reversed(list(zip(self.edges, self.levels[:-1], strict=True))):
            found = pl.when(value < edge).then(pl.lit(name)).otherwise(found)
        return pl.when(value.is_null()).then(pl.lit(UNKNOWN)).otherwise(found)


BMI = Bands(
    "bmi_kg_m2",
    (25.0, 30.0, 35.0, 40.0),
    ("under 25", "25 to under 30", "30 to under 35", "35 to under 40", "40 and over"),
    "classes of the World Health Organization; failure rises from class to class in the open "
    "survey 2017-2018",
)
AGE = Bands(
    "age_years",
    (18, 40, 53, 65),
    ("under 18", "18 to 39", "40 to 52", "53 to 64", "65 and over"),
    "over 52: Castera et al., Hepatology 2010; the other edges are a proposal of this tool",
)

LEVELS: dict[str, tuple[str, ...]] = {
    "bmi": (*BMI.levels, UNKNOWN),
    "age": (*AGE.levels, UNKNOWN),
    "sex": tuple(Sex),
    "probe": tuple(Probe),
    "technique": tuple(Technique),
    "occasion": ("first", "again", "planned"),
}
"""Levels of each covariate in their order; indications are those that the profiles map to."""

assert all(low < high for bands in (BMI, AGE) for low, high in pairwise(bands.edges))


def covariate_levels() -> dict[str, pl.Expr]:
    """Level of every covariate of exams joined with their assessments."""
    kind = pl.col("repeat_kind")
    return {
        "bmi": BMI.level(),
        "age": AGE.level(),
        "sex": pl.col("sex"),
        "probe": pl.col("probe"),
        "technique": pl.col("technique"),
        "indication": pl.col("indication").fill_null(UNKNOWN),
        "occasion": pl.when(kind.is_in([str(one) for one in _AGAIN]))
        .then(pl.lit("again"))
        .when(kind.is_in([str(one) for one in _PLANNED]))
        .then(pl.lit("planned"))
        .otherwise(pl.lit("first")),
    }
