"""DICOM structured report → raw rows: one file is one exam.

The content is walked in whatever order it stands: numbers are known by their coded concept, unit
and derivation. What is missing stays missing; a count that is not there is not zero.
"""

import re
from collections.abc import Iterator
from decimal import Decimal, InvalidOperation

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.model.words import FileFormat
from qa.readers.bounds import check_size, refuse_empty
from qa.readers.dicom_codes import FIGURES
from qa.readers.dicom_items import Item, Report, load_report
from qa.readers.exam_columns import (
    PLAIN_UNIT,
    ExamCells,
    FigureTwice,
    age_at,
    columns_in_order,
    figure_twice,
    with_unit,
)
from qa.readers.rows import Rows

_QUANTITIES = {"elasticity": "stiffness", "speed": "stiffness", "attenuation": "attenuation"}
_UNITS = {"elasticity": ("kPa",), "speed": ("m/s",), "attenuation": ("dB/m", *PLAIN_UNIT)}
_TECHNIQUES = ("TE", "pSWE", "2D-SWE", "3D-SWE")
_DAY = re.compile(r"(\d{4})(\d\d)(\d\d)\Z")
_HOUR = re.compile(r"(\d\d)(\d\d)(\d\d(?:\.\d{1,6})?)?\Z")
_AGE = re.compile(r"(\d{3})([YMWD])\Z")
_A_YEAR = {"Y": 1, "M": 12, "W": 52, "D": 365}


def read_dicom(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read one file's bytes; codes are those of dicom_codes.py.

    Of the patient only identifier, sex and age at the exam are kept; names are never read.

    Args:     content: the whole file.   name: for messages.
              profile: the columns are fixed; "dicom-sr" in qa/definitions/profiles maps them.
    Returns:  one row: ROW_NO 1 and EXAM_COLUMNS as text. A stiffness stands in the unit in which
              it was reported; of elasticity and speed, elasticity. A value without derivation is a
              single measurement. Values at another site than the liver are left out. A value in an
              unexpected unit keeps its unit and so is no number.
    Raises:   SourceFileError INT-001, INT-007, INT-020, INT-023 to INT-025, INT-034 to INT-037.
    """
    refuse_empty(content, name=name)
    check_size(len(content), name=name, file_format=FileFormat.DICOM)
    report = load_report(content, name=name)
    try:
        cells = _cells(report)
    except FigureTwice as problem:
        raise figure_twice(str(problem), where=name) from None
    if not cells.keys() & {"stiffness", "absent_reason", "measurement 1", "attenuation"}:
        raise _no_exam(name)
    rows = Rows(name=name, n_bytes=len(content), columns=columns_in_order(cells))
    rows.add(1, cells)
    return rows.frame()


def _cells(report: Report) -> ExamCells:
    cells = _header_cells(report)
    groups = list(_groups(report.root))
    _put_quantity(cells, *_stiffness_of(groups))
    _put_quantity(cells, "attenuation", _figures_of(groups, "attenuation"))
    everything = [item for items in groups for item in items]
    for item in everything:
        _put_other(cells, item)
    everything += [child for item in everything for child in item.children]
    techniques = {item.code for item in everything if item.code in _TECHNIQUES}
    cells.put("technique", " and ".join(sorted(techniques)))
    return cells


def _groups(root: Item) -> Iterator[list[Item]]:
    """Items level by level of containers; a level at another site than the liver falls away."""
    waiting = [root]
    while waiting:
        container = waiting.pop()
        items = container.children
        sites = {item.code for item in items if item.word == "site"}
        if sites and "liver" not in sites:
            continue
        yield [item for item in items if _is_at_liver(item)]
        waiting += [item for item in items if item.kind == "CONTAINER"]


def _is_at_liver(item: Item) -> bool:
    sites = {child.code for child in item.children if child.word == "site"}
    return not sites or "liver" in sites


def _derivation(item: Item) -> str:
    return next((one.code for one in item.children if one.word == "derivation"), "")


def _stiffness_of(groups: list[list[Item]]) -> tuple[str, list[Item]]:
    """Elasticity where its median stands there, otherwise speed; the two are never mixed."""
    found = {word: _figures_of(groups, word) for word in ("elasticity", "speed")}
    with_median = [word for word in found if any(map(_is_median, found[word]))]
    with_any = [word for word in found if found[word]]
    word = next(iter([*with_median, *with_any]), "elasticity")
    return word, found[word]


def _figures_of(groups: list[list[Item]], word: str) -> list[Item]:
    """Numbers of a quantity; spread that stands beside them is found by its unit."""
    listed = []
    for items in groups:
        numbers = [item for item in items if item.kind == "NUM"]
        listed += [item for item in numbers if item.word.partition(" ")[0] == word and word]
        listed += [
            item for item in numbers if item.word == "iqr" and item.unit in _UNITS.get(word, ())
        ]
    return listed


def _is_median(item: Item) -> bool:
    return _derivation(item) == "median" or item.word == "attenuation median"


def _put_quantity(cells: ExamCells, word: str, figures: list[Item]) -> None:
    """Figures in the unit of the median, or of the first where no median stands there."""
    quantity = _QUANTITIES[word]
    ordered = sorted(figures, key=_is_median, reverse=True)
    unit = next((item.unit for item in ordered if item.value), "")
    for item in figures:
        _put_figure(cells, item, quantity, unit=unit)
    if quantity in cells:
        cells[f"{quantity}_unit"] = PLAIN_UNIT.get(unit, unit)
    elif quantity == "stiffness" and figures and not any(item.value for item in figures):
        reasons = {item.code for item in figures} - {""}
        cells["absent_reason"] = reasons.pop() if len(reasons) == 1 else "unknown"


def _put_figure(cells: ExamCells, item: Item, quantity: str, *, unit: str) -> None:
    value = with_unit(item.value, item.unit, wanted=(unit,))
    derivation = _derivation(item)
    if item.word == "iqr" or derivation == "iqr":
        cells.put(f"{quantity}_iqr", value)
    elif derivation == "ratio":
        _put_ratio(cells, item, quantity)
    elif _is_median(item):
        cells.put(quantity, value)
    elif not derivation and quantity == "stiffness":
        cells.put_measurement(value)
    for child in item.children:
        if child.word == "iqr":
            cells.put(f"{quantity}_iqr", with_unit(child.value, child.unit, wanted=(unit,)))
        elif child.word == "ratio":
            _put_ratio(cells, child, quantity)
        else:
            _put_other(cells, child)


def _put_ratio(cells: ExamCells, item: Item, quantity: str) -> None:
    if quantity != "stiffness" or not item.value:
        return
    try:
        share = Decimal(item.value) if item.unit == "1" and len(item.value) <= 16 else None
    except InvalidOperation:
        share = None
    text = with_unit(item.value, item.unit, wanted=("%",))
    is_plain = share is not None and share.is_finite() and abs(share.adjusted()) < 16
    cells.put("stated_ratio_pct", f"{share * 100:f}" if share is not None and is_plain else text)


def _put_other(cells: ExamCells, item: Item) -> None:
    """Counts, probe, device and operator, wherever they stand."""
    if item.word in FIGURES:
        column, wanted = FIGURES[item.word]
        cells.put(column, with_unit(item.value, item.unit, wanted=wanted))
    elif item.word == "ratio":
        _put_ratio(cells, item, "stiffness")
    elif item.word == "probe":
        cells.put("probe", item.code)
    elif item.word in ("device", "operator") and item.value:
        cells[item.word] = item.value


def _header_cells(report: Report) -> ExamCells:
    header = report.header
    exam_at = _moment(header)
    return ExamCells(
        exam_id=header["AccessionNumber"] or header["StudyInstanceUID"],
        patient_id=header["PatientID"],
        operator=report.operator,
        device=header["DeviceSerialNumber"],
        status=_status(header),
        sex={"M": "male", "F": "female", "O": "other"}.get(header["PatientSex"], ""),
        age_years=_age(header, exam_at),
        weight_kg=header["PatientWeight"],
        height_cm=_height_cm(header["PatientSize"]),
        exam_at=exam_at,
    )


def _status(header: dict[str, str]) -> str:
    if header["PreliminaryFlag"] == "PRELIMINARY":
        return "preliminary"
    return {"COMPLETE": "final", "PARTIAL": "partial"}.get(header["CompletionFlag"], "unknown")


def _moment(header: dict[str, str]) -> str:
    """Start of the study as ISO 8601; what has another shape stays as it is and is held back."""
    day, hour = _DAY.match(header["StudyDate"]), _HOUR.match(header["StudyTime"])
    if not day:
        return header["StudyDate"]
    date = "-".join(day.groups())
    if not hour:
        return date if not header["StudyTime"] else f"{date}T{header['StudyTime']}"
    offset = header["TimezoneOffsetFromUTC"]
    zone = f"{offset[:3]}:{offset[3:]}" if re.fullmatch(r"[+-]\d{4}", offset) else ""
    return f"{date}T{hour[1]}:{hour[2]}:{hour[3] or '00'}{zone}"


def _age(header: dict[str, str], exam_at: str) -> str:
    """Full years: as stated, or from the birth date, which is not kept."""
    stated = _AGE.match(header["PatientAge"])
    if stated:
        return str(int(stated[1]) // _A_YEAR[stated[2]])
    born = _DAY.match(header["PatientBirthDate"])
    return age_at("-".join(born.groups()), exam_at) if born else ""


def _height_cm(metres: str) -> str:
    try:
        return f"{Decimal(metres) * 100:.1f}" if len(metres) <= 16 else ""
    except (InvalidOperation, ValueError):
        return ""


def _no_exam(name: str) -> SourceFileError:
    return SourceFileError(
        "there is no exam in the file",
        where=name,
        expected="numbers with the concept Elasticity or Shear Wave Speed at the liver",
        todo="Send the report of the measurements",
        code="INT-037",
    )
