"""Names of files: what is kept of them, and that names, numbers and birth dates are not."""

import pytest

from qa.intake.file_names import network_words, safe_name

KEY = b"0f" * 32
WORDS = network_words(["eider-point", "Harbour (invented)"])


def shown(name: str) -> str:
    return safe_name(name, words=WORDS, key=KEY)


@pytest.mark.parametrize(
    "name",
    [
        "harbour_2026-10.csv", "eider-point_2023-11.csv.gz", "HARBOUR_Q3_v2.xlsx", "a.csv",
        "copy of a.csv", "march corrected.csv", "export (2).csv", "Export 20261103.csv",
        "Messungen März 2026.xlsx", "Export 2019-07.csv", "31.10.2026.csv", "export x.csv",
    ],
)  # fmt: skip
def test_safe_name_plain_words_and_dates_stay(name: str):
    assert shown(name) == name


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("Quillfeather, Z 4711 march.csv", "x march"),
        ("QUILLFEATHER.csv", "x"),
        ("march_Quillfeather_2026-10.csv", "march_x_2026-10"),
        ("Ottoline_19.07.1961.xlsx", "x"),
        ("Ottoline 2012-07-19.csv", "x"),
        ("H.M. 12.03.61.csv", "x"),
        ("export z q.csv", "export x"),
        ("9021007.csv", "x"),
        ("export 902.csv", "export x"),
        ("=cmd|calc.csv", "x"),
        ("export\t\r\n.csv", "export"),
        ("export.Quillfeather", "export.x"),
    ],
)
def test_safe_name_anything_else_is_masked(name: str, kept: str):
    stem, _, rest = shown(name).rpartition("-")
    assert stem == kept
    assert rest.split(".")[0].isalnum()
    assert len(rest.split(".")[0]) == 6


def test_safe_name_tells_masked_files_apart_and_depends_on_the_key():
    names = [shown("Quillfeather.csv"), shown("Featherquill.csv"), shown("Quillfeather.csv")]
    assert names[0] != names[1]
    assert names[0] == names[2]
    assert safe_name("Quillfeather.csv", words=WORDS, key=b"aa" * 32) != names[0]


def test_safe_name_day_of_a_date_is_kept_from_2020_on():
    """A day before that could be a child's date of birth; a month is no day."""
    assert shown("2020-01-01.csv") == "2020-01-01.csv"
    assert shown("2019-12-31.csv").startswith("x-")
    assert shown("2019-12.csv") == "2019-12.csv"
