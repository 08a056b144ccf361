"""Samples by chance that can be repeated; where two readings differ; agreement in words."""

from dataclasses import replace
from datetime import date

import numpy as np
import polars as pl
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from qa.followup.agree import agreement_lines, find_agreement
from qa.followup.readings import Result, Sample, SampledExam
from qa.followup.sampling import (
    METHOD,
    draw_sample,
    exam_code,
    proposed_picks,
    sample_size,
    sampling_frame,
)
from qa.followup.second_read import discrepancies
from qa.model.competence_words import PickReason

KEYS = st.sets(st.text("abcdef0123456789", min_size=1, max_size=6), max_size=30)


@given(KEYS, st.text(max_size=8), st.integers(0, 12), st.randoms())
def test_same_frame_and_seed_give_the_same_sample(keys, seed, n, shuffler) -> None:
    """In any order; of the frame, without doubles; a smaller sample is the larger one's start."""
    frame = sorted(keys)
    drawn = draw_sample(frame, seed=seed, n=n)
    shuffler.shuffle(frame)
    assert draw_sample(frame, seed=seed, n=n) == drawn
    assert set(drawn) <= keys
    assert len(set(drawn)) == min(n, len(keys))
    assert draw_sample(frame, seed=seed, n=n + 1)[:n] == drawn


def test_order_of_the_draw_is_that_of_sha_256() -> None:
    """First signs by the system's sha256sum of "3:a", "3:b" and "3:c"."""
    digests = {"a": "3d95c5ce", "b": "952ac618", "c": "ba860c90"}
    assert {key: exam_code("3", key) for key in "abc"} == digests
    assert draw_sample("cba", seed="3", n=2) == ("a", "b")
    assert draw_sample("abc", seed="2", n=2) == ("c", "a")  # 19fb…, f2b2…, faac…


def test_every_exam_has_the_same_chance() -> None:
    """Chi-square of how often each of 20 exams is among 5, over 2,000 seeds."""
    keys = [f"exam-{number}" for number in range(20)]
    drawn = [key for seed in range(2_000) for key in draw_sample(keys, seed=str(seed), n=5)]
    counts = [drawn.count(key) for key in keys]
    assert scipy.stats.chisquare(counts).pvalue > 0.01


@pytest.mark.parametrize(
    ("n_frame", "n"),
    [(0, 0), (1, 1), (3, 3), (41, 3), (60, 3), (61, 4), (80, 4), (81, 5), (100, 5), (101, 6)],
)
def test_size_is_a_share_rounded_up_and_a_minimum(n_frame: int, n: int) -> None:
    assert sample_size(n_frame, share=0.05, minimum=3) == n


def exams(**columns) -> pl.DataFrame:
    n = len(next(iter(columns.values())))
    told = {"outcome": ["reliable"] * n, "repeat_kind": [None] * n, "ratio_share": [0.1] * n}
    told |= {"exam_key": [f"e{k:03d}" for k in range(n)]}
    told |= {"stiffness_kpa": [5.0] * n, "attenuation_db_m": [250.0] * n}
    return pl.DataFrame({**told, **columns}, schema_overrides={"repeat_kind": pl.String})


def test_frame_leaves_out_what_cannot_be_read_again() -> None:
    frame = sampling_frame(
        exams(
            outcome=["reliable", "failed", "not judged", "not performed", "failed"],
            repeat_kind=[None, "recall", None, None, "restart"],
        )
    )
    assert frame["exam_key"].to_list() == ["e000", "e001"]


def test_picks_stand_out_among_all_exams_of_the_month() -> None:
    n = 100
    month = exams(
        ratio_share=[0.1] * (n - 1) + [0.6],
        stiffness_kpa=[*np.linspace(4, 8, n - 3).tolist(), 40.0, 3.0, 6.0],
        attenuation_db_m=[*[250.0] * (n - 2), 390.0, 250.0],
    )
    own = ["e000", "e097", "e098", "e099"]
    found = {one.exam_key: one.reason for one in proposed_picks(month, own)}
    assert found == {
        "e099": PickReason.SPREAD,
        "e097": PickReason.STIFFNESS,
        "e098": PickReason.ATTENUATION,
    }
    assert proposed_picks(month, []) == []
    assert proposed_picks(month.clear(), own) == []
    pair = exams(stiffness_kpa=[3.0, *[6.0] * 9], attenuation_db_m=[300.0, *[250.0] * 8, 310.0])
    assert [one.reason for one in proposed_picks(pair, ["e000"])] == [PickReason.PAIR]


def twice(first: Result, second: Result | None, reason: str = "") -> SampledExam:
    return SampledExam("c", "k", reason, "2026-10-05, TE", first, second=second)


@pytest.mark.parametrize(
    ("first", "second", "found"),
    [
        (Result("reliable", 9.5), Result("reliable", 10.5), ()),  # 1.0 of 10.0: on the limit
        (Result("reliable", 9.49), Result("reliable", 10.51), ("stiffness 9.5 and 10.5 kPa, ",)),
        (Result("reliable", 9.0), Result("unreliable", 9.0), ("outcome reliable and unreliable",)),
        (Result("failed"), Result("failed"), ()),
        (Result("reliable", 9.0), Result("reliable"), ()),
        (Result("reliable", 9.0), None, ()),
    ],
)
def test_discrepancy_at_the_limit(first: Result, second: Result | None, found: tuple) -> None:
    told = discrepancies(twice(first, second), stiffness_share=0.1)
    assert len(told) == len(found)
    assert all(one.startswith(start) for one, start in zip(told, found, strict=True))


def sample(*taken: SampledExam) -> Sample:
    return Sample(
        "op-1.2026-10",
        "op-1",
        "north",
        date(2026, 10, 1),
        METHOD,
        "1",
        ("k",),
        "S",
        1,
        "",
        "",
        taken,
    )


def test_agreement_keeps_picks_and_heights_apart() -> None:
    same = twice(Result("reliable", 5.0), Result("reliable", 5.2))
    high = twice(Result("reliable", 20.0), Result("unreliable", 23.0))
    found = find_agreement(
        [
            sample(same, same, replace(same, second=None)),
            sample(high, replace(high, reason="asked for")),
        ],
        stiffness_share=0.1,
    )
    assert (found.n, found.n_same, found.n_picked, found.n_picked_same) == (3, 2, 1, 0)
    assert (found.n_waiting, found.n_discrepant, found.low.n, found.high.n) == (1, 2, 2, 2)
    lines = agreement_lines(found)
    assert lines[1] == "Kappa cannot be told: a reader used one outcome only."
    assert lines[0].startswith("2 of 3 exams drawn by chance had the same outcome twice (67 %")
    assert "Stiffness from 9 kPa: first less second -3.00 kPa" in lines[-3]


def test_kappa_is_told_once_both_readers_used_two_outcomes() -> None:
    """2 x 2 table 20, 5, 10, 15: kappa 0.40, as 0.70 is found and 0.50 expected (by hand)."""
    words = [*["reliable reliable"] * 20, *["reliable failed"] * 5]
    words += [*["failed reliable"] * 10, *["failed failed"] * 15]
    exams = [twice(*(Result(word) for word in pair.split())) for pair in words]
    lines = agreement_lines(find_agreement([sample(*exams)], stiffness_share=0.1))
    assert lines[0].startswith("35 of 50 exams drawn by chance")
    assert lines[1].startswith("Kappa 0.40 (95 % interval ")


def test_agreement_of_nothing_says_so() -> None:
    assert agreement_lines(find_agreement([], stiffness_share=0.1)) == [
        "No exam drawn by chance was read a second time yet."
    ]
    one = find_agreement([sample(twice(Result("failed"), Result("failed")))], stiffness_share=0.1)
    assert "Kappa cannot be told: a reader used one outcome only." in agreement_lines(one)


def test_sample_that_was_changed_shows_itself() -> None:
    keys = ("a", "b", "c")
    chosen = draw_sample(keys, seed="1", n=1)
    whole = replace(sample(twice(Result("failed"), None)), frame=keys)
    drawn = tuple(replace(one, exam_key=chosen[0]) for one in whole.exams)
    other = next(key for key in keys if key not in chosen)
    assert replace(whole, exams=drawn).is_as_drawn
    assert not replace(
        whole, exams=tuple(replace(one, exam_key=other) for one in drawn)
    ).is_as_drawn
    assert not replace(whole, exams=drawn, frame=("x", "y")).is_as_drawn
