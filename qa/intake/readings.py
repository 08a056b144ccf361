"""Single readings of an exam: columns or rows of the source → one list for each exam."""

from collections.abc import Sequence

import polars as pl

from qa.intake.numbers import as_number
from qa.model.definitions import Measurements, Profile

READINGS = "reading_texts"
"""List of text: the readings that count, in their order; null where the exam has none."""
N_LISTED = "n_listed"
"""How many measurements the source lists for the exam, valid or not."""
DIFFERING = "differing"
"""Headings that should say the same in all rows of one exam and do not; null where they do."""
MARKER_TEXT, MARKER_WORD = "measurement_valid_text", "measurement_valid_word"
GATHERED = (READINGS, N_LISTED, DIFFERING, MARKER_TEXT, MARKER_WORD)

_SITE, _EXAM = "site", "exam_id"


def reading_headings(measurements: Measurements | None, headings: Sequence[str]) -> list[str]:
    """The headings of a file that hold readings, in their order.

    Example: "measurement *" and a file with "measurement 2", "measurement 1" → both, 1 first
    """
    found: list[str] = []
    for wanted in measurements.headings if measurements else ():
        plain = _plain(wanted)
        if not plain.endswith("*"):
            found += [plain] if plain in headings else []
            continue
        start = plain[:-1].rstrip()
        tails = {one: one[len(start) :].strip() for one in headings if one.startswith(start)}
        numbered = [one for one, tail in tails.items() if tail.isascii() and tail.isdigit()]
        found += sorted(numbered, key=lambda one: int(tails[one]))
    return found


def needed_headings(measurements: Measurements | None) -> list[str]:
    """Headings without which rows of measurements cannot be read; columns may be fewer."""
    if measurements is None or measurements.layout != "rows":
        return []
    named = (*measurements.headings, measurements.valid_heading, measurements.order_heading)
    return [_plain(heading) for heading in named if heading]


def _plain(heading: str) -> str:
    return " ".join(heading.split())


def _cell(heading: str, profile: Profile) -> pl.Expr:
    cell = pl.col(heading).str.strip_chars()
    return pl.when(~cell.is_in(["", *profile.missing])).then(cell)


def pick_from_columns(
    raw: pl.DataFrame, *, measurements: Measurements, profile: Profile
) -> list[pl.Expr]:
    """The GATHERED columns, for a file with one row per exam."""
    cells = [_cell(one, profile) for one in reading_headings(measurements, raw.columns)]
    listed = pl.concat_list(cells) if cells else pl.lit([], pl.List(pl.String))
    listed = listed.list.drop_nulls()
    is_mark = pl.element().is_in(list(measurements.invalid_marks))
    readings = listed.list.eval(pl.element().filter(~is_mark))
    nothing = pl.lit(None, pl.String)
    return [
        pl.when(readings.list.len() > 0).then(readings).alias(READINGS),
        listed.list.len().cast(pl.Int32).alias(N_LISTED),
        *(nothing.alias(name) for name in (DIFFERING, MARKER_TEXT, MARKER_WORD)),
    ]


def pick_from_rows(*, measurements: Measurements, profile: Profile) -> list[pl.Expr]:
    """What gather_exams reads, for a file with one row per measurement."""
    cell = _cell(_plain(measurements.headings[0]), profile)
    reading = pl.when(~cell.is_in(list(measurements.invalid_marks))).then(cell)
    marker = word = pl.lit(None, pl.String)
    if measurements.valid_heading:
        marker = _cell(_plain(measurements.valid_heading), profile)
        is_no = marker.is_null() | marker.is_in(list(measurements.invalid_values))
        is_yes = marker.is_in(list(measurements.valid_values))
        word = pl.when(is_no).then(pl.lit("no")).when(is_yes).then(pl.lit("yes"))
        reading = pl.when(is_yes).then(reading)
    order = pl.lit(None, pl.Float64)
    if measurements.order_heading:
        order = as_number(_cell(_plain(measurements.order_heading), profile), decimal=".")
    return [
        reading.alias("reading"),
        (cell.is_not_null() | marker.is_not_null()).alias("is_listed"),
        order.alias("reading_order"),
        marker.alias(MARKER_TEXT),
        word.alias(MARKER_WORD),
    ]


def gather_exams(
    picked: pl.DataFrame,
    *,
    measurements: Measurements,
    decimal: str,
    headings: dict[str, str],
) -> pl.DataFrame:
    """Rows of measurements → one row per exam, called after its first row.

    Args:     picked: row_no, `<target>_text` and `<target>_word` of each mapped target, and the
              columns of pick_from_rows. A row without exam number stays a row of its own.
              headings: mapped target → how its heading is shown.
    Returns:  row_no, texts and words, and the GATHERED columns, in the order of row_no.
    Method:   a value may stand in every row of its exam or only in some; two values of one column
              contradict each other, unless the profile says that the first or the mean counts.
    """
    keys = [f"{name}_word" for name in (_SITE, _EXAM) if name in headings]
    alone = pl.when(pl.col(f"{_EXAM}_word").is_null()).then("row_no").alias("alone")
    freely = {*measurements.first_of, *measurements.mean_of, _SITE, _EXAM}
    strict = [name for name in headings if name not in freely]
    means = [name for name in measurements.mean_of if name in headings]
    ordered = picked.with_columns(alone).sort("reading_order", "row_no", nulls_last=True)
    is_strange = pl.col(MARKER_TEXT).is_not_null() & pl.col(MARKER_WORD).is_null()
    exams = ordered.group_by(*keys, "alone", maintain_order=True).agg(
        pl.col("row_no").min(),
        *(_first(name, part) for name in headings for part in ("text", "word")
          if f"{name}_{part}" not in keys),
        *(_differs(name).alias(f"{name}_differs") for name in strict),
        pl.col("reading").drop_nulls().alias(READINGS),
        pl.col("is_listed").sum().cast(pl.Int32).alias(N_LISTED),
        pl.col(MARKER_TEXT).filter(is_strange).first(),
        *(_mean(name, decimal) for name in means),
    )  # fmt: skip
    named = [pl.lit(None, pl.String)] + [
        pl.when(f"{name}_differs").then(pl.lit(headings[name])) for name in strict
    ]
    differing = pl.concat_str(named, separator=", ", ignore_nulls=True)
    has_reading = pl.col(READINGS).list.len() > 0
    return (
        exams.with_columns(
            pl.when(has_reading).then(READINGS).alias(READINGS),
            pl.when(differing != "").then(differing).alias(DIFFERING),
            pl.lit(None, pl.String).alias(MARKER_WORD),
            *(
                pl.coalesce(f"{name}_mean", f"{name}_{part}").alias(f"{name}_{part}")
                for name in means
                for part in ("text", "word")
            ),
        )
        .sort("row_no")
        .select(
            "row_no", pl.col([f"{n}_{p}" for n in headings for p in ("text", "word")]), *GATHERED
        )
    )


def _first(name: str, part: str) -> pl.Expr:
    """Of the first row of the exam in which something stands; else of its first row."""
    has_text = pl.col(f"{name}_text").is_not_null()
    own = pl.col(f"{name}_{part}")
    return pl.when(has_text.any()).then(own.filter(has_text).first()).otherwise(own.first())


def _differs(name: str) -> pl.Expr:
    text = pl.col(f"{name}_text")
    return (text.min() != text.max()).fill_null(value=False)


def _mean(name: str, decimal: str) -> pl.Expr:
    """The mean as text; null where a cell is no number, so that a check sees the cell."""
    word = pl.col(f"{name}_word")
    number = as_number(word, decimal=decimal)
    is_readable = (word.is_not_null() & number.is_null()).any().not_()
    text = number.mean().round(6).cast(pl.String).str.replace(".", decimal, literal=True)
    return pl.when(is_readable).then(text).alias(f"{name}_mean")
