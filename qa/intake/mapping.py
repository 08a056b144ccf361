"""Source columns → one text column per target: the profile as an allow-list.

Whatever the profile does not map ends here; no later stage sees it.
"""

import difflib
import re
from collections.abc import Sequence

import polars as pl

from qa.intake.readings import (
    gather_exams,
    needed_headings,
    pick_from_columns,
    pick_from_rows,
    reading_headings,
)
from qa.intake.targets import SPLIT_TIME, TARGET_BY_NAME, Kind
from qa.model.definitions import ColumnMap, Profile
from qa.model.errors import ProfileError
from qa.model.file_problems import ROW_NO
from qa.model.words import FileFormat

_SHOWN = 8
_LONG_NUMBER = re.compile(r"\d{4}|\d\d\D\d\d\D\d\d")


def mapped_columns(profile: Profile) -> list[ColumnMap]:
    """The profile's columns, with exam_date and exam_time joined to exam_at."""
    day, hour = (profile.column(name) for name in SPLIT_TIME)
    columns = [column for column in profile.columns if column.target not in SPLIT_TIME]
    if day is None:
        return columns
    hour_format = (hour.date_format or "%H:%M") if hour else ""
    date_format = day.date_format or ("%Y-%m-%d" if hour and hour.date_format else None)
    joined = ColumnMap(
        target="exam_at",
        headings=day.headings + (hour.headings if hour else ()),
        join=" ",
        date_format=f"{date_format} {hour_format}".rstrip() if date_format else None,
        is_nominal=day.is_nominal,
    )
    return [*columns, joined]


def check_headings(headings: Sequence[str], *, profile: Profile, name: str) -> list[str]:
    """Hold a file's headings against the allow-list.

    Args:     headings: without ROW_NO.   name: the file, for messages.
    Returns:  the headings that are not let in.
    Raises:   ProfileError INT-013 (a mapped column is missing), INT-014 (an unknown column, where
              the profile refuses them), INT-015 (not the row of headings). Headings are shown
              only where they are plainly headings, as a wrong row could hold a patient's values.
    """
    columns = mapped_columns(profile)
    mapped = [plain_heading(heading) for column in columns for heading in column.headings]
    mapped += reading_headings(profile.measurements, headings)
    mapped += needed_headings(profile.measurements)
    needed = [
        plain_heading(heading)
        for column in columns
        if not column.is_optional
        for heading in column.headings
    ] + needed_headings(profile.measurements)
    missing = [heading for heading in dict.fromkeys(needed) if heading not in headings]
    where = _place_of_headings(name, profile)
    if missing and len(missing) > len(set(needed)) / 2:
        raise ProfileError(
            f"{len(missing)} of {len(set(needed))} headings are not there",
            where=where,
            expected=f"the headings of profile {profile.full_id}: {_listed(needed)}",
            todo="Check that the file is of this site's kind, and `header_row` in the profile",
            code="INT-015",
        )
    allowed = {*mapped, *map(plain_heading, profile.ignore)}
    unknown = [heading for heading in headings if heading not in allowed]
    if missing:
        raise _missing_column(missing[0], unknown, where=where, profile=profile)
    if unknown and profile.unknown_columns != "drop":
        raise _unknown_columns(unknown, where=where, profile=profile)
    return [heading for heading in headings if heading not in mapped]


def _missing_column(
    heading: str, unknown: list[str], *, where: str, profile: Profile
) -> ProfileError:
    plain = {one.casefold(): one for one in unknown}
    near = [plain[one] for one in difflib.get_close_matches(heading.casefold(), plain, n=3)]
    found = f"; nearest {'is' if len(near) == 1 else 'are'} {_listed(near)}" if near else ""
    return ProfileError(
        f"the column '{heading}' is missing{found}",
        where=where,
        expected=f"every column that profile {profile.full_id} maps",
        todo="Export it, or mend `headings` in the profile (`is_optional` where it may be absent)",
        code="INT-013",
    )


def _place_of_headings(name: str, profile: Profile) -> str:
    """Headings stand in a line of text or a row of a sheet; elsewhere they have no place."""
    word = {FileFormat.CSV: "line", FileFormat.XLSX: "sheet row"}.get(FileFormat(profile.format))
    return f"{name}, {word} {profile.header_row}" if word else name


def _unknown_columns(unknown: list[str], *, where: str, profile: Profile) -> ProfileError:
    many = "the column is" if len(unknown) == 1 else "the columns are"
    return ProfileError(
        f"{many} unknown: {_listed(unknown)}",
        where=where,
        expected=f"only columns that profile {profile.full_id} maps or ignores",
        todo="Nothing was read from it. Add it to `ignore` in the profile, or map it",
        code="INT-014",
    )


def _listed(headings: Sequence[str]) -> str:
    """The first headings; one with a long number in it could hold a record number or a date."""
    shown = ", ".join(
        "(a heading with a long number)" if _LONG_NUMBER.search(heading) else f"'{heading}'"
        for heading in headings[:_SHOWN]
    )
    return shown if len(headings) <= _SHOWN else f"{shown} and {len(headings) - _SHOWN} more"


def plain_heading(heading: str) -> str:
    return " ".join(heading.split())


def pick_columns(raw: pl.DataFrame, *, profile: Profile) -> pl.DataFrame:
    """Take what the profile maps, as text.

    Args:     raw: ROW_NO and one text column per heading; check_headings has passed.
    Returns:  row_no, and for each mapped target `<target>_text` (what the file holds; null where
              empty or a missing mark) and `<target>_word` (after `codes`, `constant` and
              `missing_as`; null where a code is unknown). Where the profile says where single
              readings stand, also the columns of qa/intake/readings.py, and rows of measurements
              become one row per exam. Rows keep their order.
    """
    measurements = profile.measurements
    texts, words, names = [], [], ["row_no"]
    for column in mapped_columns(profile):
        headings = [plain_heading(heading) for heading in column.headings]
        is_there = all(heading in raw.columns for heading in headings)
        text, word = f"{column.target}_text", f"{column.target}_word"
        texts.append(_text(column, headings if is_there else [], profile.missing).alias(text))
        words.append(_word(column, pl.col(text), is_there=is_there).alias(word))
        names += [text, word]
    more: list[pl.Expr] = []
    if measurements is not None and measurements.layout == "columns":
        more = pick_from_columns(raw, measurements=measurements, profile=profile)
    elif measurements is not None:
        more = pick_from_rows(measurements=measurements, profile=profile)
    row_no = pl.col(ROW_NO).cast(pl.Int32).alias("row_no")
    # One step after the other, so that each cell is stripped once and words are made of texts.
    rows = _stripped(raw, profile).select(row_no, *texts, *more).with_columns(words)
    rows = rows.select(*names, *(name for name in rows.columns if name not in names))
    if measurements is None or measurements.layout == "columns":
        return rows
    return gather_exams(
        rows,
        measurements=measurements,
        decimal=profile.decimal,
        headings={one.target: shown_headings(one) for one in mapped_columns(profile)},
    )


def _stripped(raw: pl.DataFrame, profile: Profile) -> pl.DataFrame:
    mapped = {plain_heading(one) for column in mapped_columns(profile) for one in column.headings}
    used = [heading for heading in raw.columns if heading in mapped]
    return raw.with_columns(pl.col(heading).str.strip_chars() for heading in used)


def shown_headings(column: ColumnMap) -> str:
    """The source headings of a column, as the site knows them."""
    return " + ".join(column.headings)


def _text(column: ColumnMap, headings: list[str], missing: tuple[str, ...]) -> pl.Expr:
    if column.constant is not None or not headings:
        return pl.lit(column.constant, dtype=pl.String)
    cells = [_cell(heading, missing) for heading in headings]
    if len(cells) == 1:
        return cells[0]
    kind = TARGET_BY_NAME[column.target].kind
    is_whole = kind in (Kind.IDENTIFIER, Kind.LOOKUP, Kind.TIME)
    is_empty = [cell.is_null() for cell in cells]
    nothing = pl.any_horizontal(is_empty) if is_whole else pl.all_horizontal(is_empty)
    joined = pl.concat_str([cell.fill_null("") for cell in cells], separator=column.join)
    return pl.when(~nothing).then(joined)


def _cell(heading: str, missing: tuple[str, ...]) -> pl.Expr:
    cell = pl.col(heading)
    return pl.when(~cell.is_in(["", *missing])).then(cell)


def _word(column: ColumnMap, text: pl.Expr, *, is_there: bool) -> pl.Expr:
    """An unknown code is null although the text is not: a check sees it."""
    word = text
    if column.codes:
        old, new = zip(*column.codes, strict=True)
        word = text.replace_strict(old, new, default=None, return_dtype=pl.String)
    if column.missing_as is None or not is_there:
        return word
    return pl.when(text.is_null()).then(pl.lit(column.missing_as)).otherwise(word)
