"""Proposed profiles: exports in four languages, without one heading of the demo's or the survey's.

The headings are ordinary words of the trade (../shared/domain.md parts 1 and 2 in translation);
the exports are invented.
"""

from collections.abc import Sequence

import numpy as np
import pytest

from qa.intake.code_words import suggest_codes
from qa.intake.column_facts import find_decimal, look_at
from qa.intake.date_formats import guess_date_format
from qa.intake.file_shape import find_shape, missing_marks
from qa.intake.heading_match import heading_score, is_identifying, unit_in
from qa.intake.profile_check import check_profile
from qa.intake.suggest import suggest
from qa.intake.suggest_toml import profile_text
from qa.intake.suggestion import KnownCodes, Suggestion, Sureness
from qa.model.parsing import parse_profile
from qa.readers.text import read_text
from tests.unit.intake.exports_to_suggest import ENGLISH, FRENCH, GERMAN, SPANISH, Export

KNOWN = KnownCodes(operators=("A", "B", "C"), devices=("D1", "D2"), techniques=("TE",))


def looked_at(text: str, encoding: str = "utf-8", known: KnownCodes = KNOWN):
    """Suggestion and profile text, as the job makes them."""
    content = text.encode(encoding)
    shape = find_shape(content)
    blank = parse_profile(
        'id = "x"\nversion = 1\ntitle = "x"\nunknown_columns = "drop"\n', where="x"
    )
    by = {"delimiter": shape.delimiter, "encoding": shape.encoding, "ignore": shape.headings}
    profile = type(blank)(**(vars(blank) | by | {"header_row": shape.header_row}))
    raw = read_text(content, name="f", profile=profile)
    raw = raw.select(raw.columns[1:])
    cells = [[cell or "" for cell in column] for column in raw]
    missing, decimal = missing_marks(cells), find_decimal(cells)
    facts = [
        look_at(heading, column, missing=missing, decimal=decimal)
        for heading, column in zip(raw.columns, cells, strict=True)
    ]
    found = suggest(facts, known=known)
    written = profile_text(
        found, shape=shape, decimal=decimal, missing=missing, profile_id="p", version=1, title="t"
    )
    return found, written


def mapping(found: Suggestion) -> dict[str, str]:
    return {one.target: one.heading for one in found.placed if one.heading}


@pytest.mark.parametrize("export", [ENGLISH, GERMAN, FRENCH, SPANISH], ids=lambda one: one.id)
def test_suggest_places_the_words_of_the_trade(export: Export):
    found, written = looked_at(export.text, export.encoding)
    placed = mapping(found)
    assert {name: placed.get(name) for name in export.expected} == export.expected
    assert set(placed) <= set(export.expected)
    assert set(found.identifying) == set(export.kept_out)
    profile = parse_profile(written, where="p")
    check_profile(profile)
    told = (profile.delimiter, profile.decimal, profile.header_row, profile.encoding)
    assert told == (export.delimiter, export.decimal, export.header_row, export.encoding)
    assert {one.target: one.unit for one in profile.columns if one.unit} == export.units


@pytest.mark.parametrize("export", [ENGLISH, GERMAN, FRENCH, SPANISH], ids=lambda one: one.id)
def test_profile_text_holds_no_value_of_a_person(export: Export):
    _, written = looked_at(export.text, export.encoding)
    for planted in ("Quillfeather", "9021007", "quill@"):
        assert planted not in written


@pytest.mark.parametrize(
    ("texts", "forms"),
    [
        (["13.04.2026", "02.05.2026"], ("%d.%m.%Y",)),
        (["04/13/2026 08:15", "05/02/2026 09:00"], ("%m/%d/%Y %H:%M",)),
        (["03/04/2026", "05/04/2026"], ("%d/%m/%Y", "%m/%d/%Y")),
        (["03/04/26", "05/04/26"], ("%d/%m/%y", "%m/%d/%y")),
        (["2026-04-13", "2026-04-14"], ()),
        (["2026-04-13T08:15:00Z"], ()),
        (["13-Apr-2026"], ("%d-%b-%Y",)),
    ],
)
def test_guess_date_format(texts: list[str], forms: tuple[str, ...]):
    found = guess_date_format(texts)
    assert found is not None
    assert found.forms == forms
    assert found.is_ambiguous == (len(forms) > 1)


@pytest.mark.parametrize("texts", [[], ["a"], ["12", "13"], ["2026-13-45"], ["A-1"]])
def test_guess_date_format_of_what_is_no_date(texts: list[str]):
    assert guess_date_format(texts) is None


def test_suggest_asks_where_day_and_month_could_be_exchanged():
    rows = ["Exam number,Patient number,Exam date,Operator,Device"]
    rows += [f"E{n},P{n},0{n % 8 + 1}/0{n % 7 + 1}/2026,A,D1" for n in range(20)]
    found, written = looked_at("\n".join(rows))
    exam_at = found.of("exam_at")
    assert exam_at is not None
    assert (exam_at.sureness, exam_at.date_form) == (Sureness.UNSURE, None)
    assert exam_at.date_forms == ("%d/%m/%Y", "%m/%d/%Y")
    assert any("only the site can say" in question for question in found.questions)
    assert '# date_format = "%d/%m/%Y"' in written
    assert parse_profile(written, where="p").column("exam_at").date_format is None  # type: ignore[union-attr]


def test_suggest_says_what_it_could_not_place():
    rows = ["Exam number,Zeta,Omega"] + [f"E{n},{n % 3},{n / 7:.2f}" for n in range(20)]
    found, written = looked_at("\n".join(rows))
    assert found.unplaced == (("Zeta", "codes 0, 1, 2"), ("Omega", "numbers 0 to 2.71"))
    assert "# ? not placed: codes 0, 1, 2" in written
    missing = [question for question in found.questions if "was not found" in question]
    assert {one.split()[0] for one in missing} >= {"patient_id", "operator", "exam_at", "stiffness"}


def test_suggest_never_fills_a_code_that_it_does_not_know():
    rows = ["Exam number,Probe,Sex"] + [f"E{n},{'QZ'[n % 2]},{n % 2 + 1}" for n in range(20)]
    found, written = looked_at("\n".join(rows))
    probe, sex = found.of("probe"), found.of("sex")
    assert probe is not None
    assert probe.codes is not None
    assert (probe.codes.known, set(probe.codes.unknown)) == ((), {"Q", "Z"})
    assert '# "Q" = ?' in written
    assert sex is not None
    assert sex.sureness is not Sureness.SURE
    assert '"1" = "male"' in written


def readings(n_exams: int, n: int) -> np.ndarray:
    rng = np.random.default_rng(7)
    return np.round(rng.lognormal(1.7, 0.3, (n_exams, 1)) * rng.normal(1, 0.1, (n_exams, n)), 1)


def test_suggest_sees_columns_of_readings():
    values = readings(20, 10)
    head = "Exam number,Patient number,Exam date,Operator,Device,"
    rows = [head + ",".join(f"Reading {k + 1} kPa"[:-4] for k in range(10))]
    rows += [f"E{n},P{n},2026-03-05,A,D1," + ",".join(map(str, values[n])) for n in range(20)]
    found, written = looked_at("\n".join(rows))
    profile = parse_profile(written, where="p")
    check_profile(profile)
    assert profile.measurements is not None
    assert profile.measurements.layout == "columns"
    assert len(profile.measurements.headings) == 10
    assert not profile.measurements.lists_attempts
    assert any("lists_attempts" in question for question in found.questions)


def test_suggest_sees_rows_of_readings():
    values = readings(12, 10)
    rows = ["Exam number,Patient number,Exam date,Operator,Device,Shot no,Reading kPa,Valid"]
    rows += [
        f"E{n},P{n},2026-03-05,A,D1,{k + 1},{values[n, k]},{'y' if k else 'n'}"
        for n in range(12)
        for k in range(10)
    ]
    _, written = looked_at("\n".join(rows))
    profile = parse_profile(written, where="p")
    check_profile(profile)
    told = profile.measurements
    assert told is not None
    assert (told.layout, told.headings, told.unit) == ("rows", ("Reading kPa",), "kPa")
    assert (told.valid_heading, told.valid_values, told.invalid_values) == ("Valid", ("y",), ("n",))
    assert told.order_heading == "Shot no"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"a;b\n1;2\n3;4\n", (";", "utf-8", 1)),
        (b"a\tb\n1\t2\n", ("\t", "utf-8", 1)),
        ("Pr\u00fcfer|b\nx|2\n".encode("cp1252"), ("|", "cp1252", 1)),
        ("a,b\n1,2\n".encode("utf-16"), (",", "utf-16", 1)),
        (b"\xef\xbb\xbfa,b\n1,2\n", (",", "utf-8-sig", 1)),
        (b"A clinic; 2026\nmonthly list\na;b;c\n1;2;3\n4;5;6\n7;8;9\n", (";", "utf-8", 3)),
        (b"a;b\n1,5;2,5\n3,5;4,5\n", (";", "utf-8", 1)),
    ],
)
def test_find_shape(content: bytes, told: tuple[str, str, int]):
    found = find_shape(content)
    assert (found.delimiter, found.encoding, found.header_row) == told


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"PK\x03\x04" + bytes(30), "xlsx"),
        (b"PAR1" + bytes(30), "parquet"),
        (bytes(128) + b"DICM", "dicom"),
        (b'{"exam": 1}\n{"exam": 2}\n', "jsonl"),
        (b'{"resourceType": "Bundle"}', "fhir"),
    ],
)
def test_find_shape_of_other_formats(content: bytes, kind: str):
    assert find_shape(content).format == kind


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Stiffness (kPa)", "kPa"),
        ("Vitesse [m/s]", "m/s"),
        ("ATT dB/m", "dB/m"),
        ("Att. (dB/cm/MHz)", "dB/cm/MHz"),
        ("IQR/Med %", "%"),
        ("Valid", None),
        ("Measurements", None),
    ],
)
def test_unit_in(heading: str, unit: str | None):
    assert unit_in(heading) == unit


@pytest.mark.parametrize(
    ("heading", "target", "least", "most"),
    [
        ("Stiffness", "stiffness", 2, 9),
        ("stiffness_iqr_kpa", "stiffness_iqr", 2, 9),
        ("X (kPa)", "stiffness", 1, 2),
        ("X IQR (dB/m)", "attenuation_iqr", 1, 2),
        ("X IQR (dB/m)", "stated_ratio_pct", 0, 0),
        ("Attenuation (dB/m)", "stiffness", 0, 0),
        ("IQR/M (%)", "stated_ratio_pct", 2, 9),
        ("Probe colour", "probe", 0.5, 0.5),
        ("Waist", "weight_kg", 0, 0),
        ("Stage", "age_years", 0, 0),
    ],
)
def test_heading_score(heading: str, target: str, least: float, most: float):
    assert least <= heading_score(heading, target) <= most


@pytest.mark.parametrize(
    ("headings", "expected"),
    [
        (("Surname", "Vorname", "Téléphone", "Dirección", "E-mail", "Remarks", "Befund"), True),
        (("Stiffness", "Alter", "Sonde", "Équipement"), False),
    ],
)
def test_is_identifying(headings: Sequence[str], expected: bool):
    assert [is_identifying(heading) for heading in headings] == [expected] * len(headings)


@pytest.mark.parametrize(
    ("target", "codes", "words"),
    [
        ("fasting_kept", ["1", "0"], ["kept", "breach"]),
        ("position_kept", ["0", "1"], ["breach", "kept"]),
        ("retracted", ["1", "0"], ["yes", "no"]),
        ("retracted", ["ja", "nein"], ["yes", "no"]),
        ("fasting_kept", ["oui", "non", "inconnu"], ["kept", "breach", "not recorded"]),
    ],
)
def test_suggest_codes_of_yes_and_no(target: str, codes: list[str], words: list[str]) -> None:
    found = suggest_codes(target, codes)
    assert [word for _, word in found.known] == words
    assert found.is_by_number == codes[0].isdigit()
    assert not found.unknown


@pytest.mark.parametrize("codes", [["1", "2"], ["0", "1", "9"]])
def test_suggest_codes_leaves_other_numbers_open(codes: list[str]) -> None:
    assert suggest_codes("fasting_kept", codes).unknown == tuple(codes)
