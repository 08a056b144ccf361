"""Files that share exams, in small tables."""

import polars as pl
import pytest

from qa.intake.pseudonym import add_keys
from qa.intake.runs import find_exam_keys, find_runs

KEY = b"0f" * 32


@pytest.mark.parametrize(
    ("files", "runs"),
    [
        ([], []),
        (["a"], [(0, 1)]),
        (["a", "b", "c"], [(0, 3)]),
        (["a", "a"], [(0, 1), (1, 2)]),
        (["aa", "b"], [(0, 2)]),
        (["a", "b", "ac", "c"], [(0, 2), (2, 3), (3, 4)]),
        (["a", "b", "b", "a"], [(0, 2), (2, 4)]),
        (["ab", "", "cb", "da"], [(0, 2), (2, 4)]),
        (["a", "b", "c", "a", "b", "c"], [(0, 3), (3, 6)]),
        (["??", "?"], [(0, 2)]),
    ],
)
def test_find_runs_cuts_where_an_exam_comes_again(files: list[str], runs: list) -> None:
    rows = [(n, None if exam == "?" else exam) for n, exams in enumerate(files) for exam in exams]
    keys = pl.DataFrame(rows, schema={"file_no": pl.UInt32, "exam_key": pl.String}, orient="row")
    found = find_runs(keys, n_files=len(files))
    assert [(run.start, run.stop) for run in found if len(run)] == runs
    for run in found:
        exams = [exam for n in run for exam in set(files[n]) - {"?"}]
        assert len(exams) == len(set(exams))


def test_find_exam_keys_are_those_of_the_rows_and_mark_doubles_within_a_file() -> None:
    rows = pl.DataFrame(
        [
            (0, "harbour", None, "E-1"), (0, "harbour", None, "E-2"), (0, "harbour", None, "E-1"),
            (1, "harbour", None, "E-1"), (2, None, "lantern", "E-1"), (2, None, "nowhere", "E-1"),
            (3, "harbour", None, None), (3, "harbour", None, None),
        ],
        schema={
            "file_no": pl.UInt32, "site_of_file": pl.String, "site_word": pl.String,
            "exam_id_word": pl.String,
        },
        orient="row",
    )  # fmt: skip
    found = find_exam_keys(rows, site_ids=["harbour", "lantern"], key=KEY)
    sites = ["harbour"] * 4 + ["lantern", None, "harbour", "harbour"]
    whole = rows.with_columns(site_id=pl.Series(sites), patient_id_word=pl.lit("1"))
    assert found["exam_key"].equals(add_keys(whole, key=KEY)["exam_key"])
    assert found["is_doubled"].to_list() == [True, False, True, False, False, False, False, False]
