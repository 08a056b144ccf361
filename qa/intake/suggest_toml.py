"""A suggestion → the text of a profile, with a comment on everything that a person must look at."""

import json
from collections.abc import Sequence

from qa.intake.file_shape import FileShape
from qa.intake.suggestion import Placed, Suggestion
from qa.intake.targets import TARGET_BY_NAME
from qa.model.words import FileFormat

_QUARTILE_TYPE = 7


def profile_text(
    suggestion: Suggestion,
    *,
    shape: FileShape,
    decimal: str,
    missing: Sequence[str],
    profile_id: str,
    version: int,
    title: str,
) -> str:
    """The TOML of the proposed profile; it reads back as a profile once needed columns are there.

    Returns: text that never holds a cell of a column that is not coded.
    """
    lines = [
        "# Proposed from headings and values of one file. Look at every line that says likely,",
        "# unsure or ?, mend it, then try it: elastoqa profile check FILE --site S --profile THIS",
        f"id = {_quoted(profile_id)}",
        f"version = {version}",
        f"title = {_quoted(title)}",
        *_ignored(suggestion),
        'unknown_columns = "refuse"',
        "",
        "[file]",
        *_file_lines(shape, decimal, missing),
        *_limits(),
        *_measurements(suggestion),
    ]
    for placed in suggestion.placed:
        lines += ["", *_column(placed)]
    mapped = {one.target for one in suggestion.placed}
    mapped |= {"exam_at"} if "exam_date" in mapped else set()
    for target in TARGET_BY_NAME.values():
        if target.is_needed and target.name not in mapped:
            lines += [
                "",
                f"# ? not found, and needed: {target.sentence}",
                f"# [columns.{target.name}]",
                *_needed_heading(target.name, suggestion),
            ]
    lines += _free_words(suggestion, mapped)
    return "\n".join(lines) + "\n"


_OFTEN_CODED = ("probe", "performed", "order_type", "fasting_kept", "position_kept",
                "acquisition_mode", "retracted")  # fmt: skip


def _needed_heading(target: str, suggestion: Suggestion) -> list[str]:
    """What to fill in; a file of one row for each person has one number for both."""
    exam_id = suggestion.of("exam_id")
    if target != "patient_id" or exam_id is None:
        return ['# headings = [""]']
    return [
        f"# headings = {_listed([exam_id.heading])}  # ? only where this number is the person's",
    ]


def _free_words(suggestion: Suggestion, mapped: set[str]) -> list[str]:
    """Blocks to fill in for columns of codes that nothing is known of."""
    free = [TARGET_BY_NAME[name] for name in _OFTEN_CODED if name not in mapped]
    if not free or not any(look.startswith("codes ") for _, look in suggestion.unplaced):
        return []
    lines = [
        "",
        "# Columns of codes stand under `ignore`. Where one of them is one of these, take its",
    ]
    lines.append("# heading out of `ignore`, take off the #, and give each code its word:")
    for target in free:
        lines += [
            f"# [columns.{target.name}]  # {target.sentence}",
            '# headings = [""]',
            f'# codes = {{ "" = "{target.words[0]}" }}  # words: {", ".join(target.words)}',
        ]
    return lines


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _listed(texts: Sequence[str]) -> str:
    return "[" + ", ".join(_quoted(text) for text in texts) + "]"


def _ignored(suggestion: Suggestion) -> list[str]:
    lines = ["# Columns that are left outside. The profile is an allow-list: nothing else enters."]
    lines.append("ignore = [")
    for heading in suggestion.identifying:
        lines.append(f"    {_quoted(heading)},  # people, places or free text")
    for heading, look in suggestion.unplaced:
        lines.append(f"    {_quoted(heading)},  # ? not placed: {look}")
    return [*lines, "]"]


def _file_lines(shape: FileShape, decimal: str, missing: Sequence[str]) -> list[str]:
    lines = [f"format = {_quoted(shape.format)}"]
    if shape.format == FileFormat.CSV:
        lines += [
            f"delimiter = {_quoted(shape.delimiter)}",
            f"encoding = {_quoted(shape.encoding)}",
            *(f"# {note}" for note in shape.notes),
        ]
    if shape.sheet:
        lines.append(f"sheet = {_quoted(shape.sheet)}")
    return [
        *lines,
        f"decimal = {_quoted(decimal)}",
        f"header_row = {shape.header_row}",
        f"missing = {_listed(missing)}",
    ]


def _limits() -> list[str]:
    return [
        "",
        "# State where the device stops counting, so that values there are marked:",
        "# [limits]",
        "# stiffness_kpa = [1.5, 75.0]",
        "# attenuation_db_m = [100.0, 400.0]",
    ]


def _measurements(suggestion: Suggestion) -> list[str]:
    layout = suggestion.layout
    if layout is None:
        return []
    lines = [
        "",
        f"# likely: {layout.why}",
        "[measurements]",
        f"layout = {_quoted(layout.layout)}",
        f"headings = {_listed(layout.headings)}",
        f"unit = {_quoted(layout.unit)}",
        f"quartile_type = {_QUARTILE_TYPE}  # as the built-in criteria sets state",
        "lists_attempts = false  # ? true only where every attempt stands in the file",
    ]
    if layout.valid_heading:
        lines += [
            f"valid_heading = {_quoted(layout.valid_heading)}",
            f"valid_values = {_listed(layout.valid_values)}",
            f"invalid_values = {_listed(layout.invalid_values)}",
        ]
    if layout.order_heading:
        lines.append(f"order_heading = {_quoted(layout.order_heading)}")
    for key, targets in (("first_of", suggestion.first_of), ("mean_of", suggestion.mean_of)):
        if targets:
            lines.append(f"{key} = {_listed(targets)}")
    return lines


def _column(placed: Placed) -> list[str]:
    lines = [f"# {placed.sureness}: {placed.why}", f"[columns.{placed.target}]"]
    if placed.constant is not None:
        return [*lines, f"constant = {_quoted(placed.constant)}"]
    lines.append(f"headings = {_listed([placed.heading])}")
    if placed.unit is not None:
        lines.append(f"unit = {_quoted(placed.unit)}")
        if placed.unit == "dB/cm/MHz":
            lines.append("# frequency_mhz = 3.5  # ? without it values are not converted to dB/m")
    if placed.date_form is not None:
        lines.append(f"date_format = {_quoted(placed.date_form)}")
    if placed.date_forms:
        lines.append("# ? every date fits both; ask the site and keep one:")
        lines += [f"# date_format = {_quoted(form)}" for form in placed.date_forms]
    return [*lines, *_codes(placed)]


def _codes(placed: Placed) -> list[str]:
    codes = placed.codes
    if codes is None or (not codes.unknown and all(old == new for old, new in codes.known)):
        return []
    note = ""
    if codes.is_by_number:
        way = "by ISO/IEC 5218" if placed.target == "sex" else "1 read as yes"
        note = f"  # ? {way}; ask the site"
    elif codes.is_by_name:
        note = "  # ? the site's own groups; free text never enters"
    lines = [f"[columns.{placed.target}.codes]{note}"]
    lines += [f"{_quoted(old)} = {_quoted(new)}" for old, new in codes.known]
    words = ", ".join(TARGET_BY_NAME[placed.target].words)
    return [*lines, *(f"# {_quoted(old)} = ?  # one of {words}" for old in codes.unknown)]
