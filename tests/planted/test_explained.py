"""What was planted in the invented networks is named as the cause by explain, in words."""

import time
from datetime import date
from pathlib import Path

import pytest

from qa.cli import main
from qa.jobs.explain import explain_at_site
from qa.model.definitions import CAUTION, GRADE_CAUTION

DEFAULT = [
    # site, measure, what the verdict must say (demo_sites/scenario.toml)
    ("linnet-row", "unreliable", "operator 41 alone"),
    ("eider-point", "unreliable", "operator 18 alone"),
    ("ivory-steps", "unreliable", "operator 33 alone"),
    ("heron-mill", "incomplete", "operator 30 alone"),
    ("gannet-lane", "stiffness_raised", "device 12 serves all"),
    ("alder-sound", "stiffness_raised", "other patients"),
    ("cowrie-bay", "unreliable", "other patients were referred"),
    ("kelp-strand", "stiffness_raised", "have not moved beyond chance"),
    ("bracken-hill", "unreliable", "operator 07 alone"),
]
SEPTEMBER, JANUARY = date(2026, 9, 1), date(2026, 1, 1)
SECOND = [
    ("nettle-ridge", "unreliable", SEPTEMBER, "operator 02 alone"),
    ("osprey-wick", "unreliable", SEPTEMBER, "operator 06 alone"),
    # Asked while the months before its start (October 2025) are what it is held against.
    ("rowan-gate", "incomplete", JANUARY, "operator 15 alone"),
    ("plover-haven", "incomplete", SEPTEMBER, "device 04, not its operators"),
]


@pytest.mark.parametrize(("site", "measure", "said"), DEFAULT)
def test_explain_names_what_was_planted_in_the_demo(published_demo, site, measure, said):
    view = explain_at_site(published_demo, site=site, measure=measure, month=date(2026, 10, 1))
    assert said in view.answer
    assert view.caution == (GRADE_CAUTION if view.measure.is_grade else CAUTION)


@pytest.mark.parametrize(("site", "measure", "month", "said"), SECOND)
def test_explain_names_what_was_planted_in_the_second_network(
    published_second, site, measure, month, said
):
    view = explain_at_site(published_second, site=site, measure=measure, month=month)
    assert said in view.answer


def test_explain_command_says_the_verdict_first_and_the_same_again(
    published_demo: Path, capsys: pytest.CaptureFixture[str]
):
    asked = ["explain", "--site", "alder-sound", "--measure", "MSR-012", "--month", "2026-10"]
    texts = []
    for _ in range(2):
        start = time.perf_counter()
        assert main([*asked, "--network", str(published_demo)], {}) == 0
        assert time.perf_counter() - start < 5
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1]
    assert texts[0].startswith("Alder Sound: exams above the lowest stiffness band rose from")
    for said in ("Referral mix", "Remainder", "Cramér's V", "Kolmogorov-Smirnov", GRADE_CAUTION):
        assert said in texts[0]


@pytest.mark.parametrize(
    ("changed", "code", "said"),
    [
        ({"--site": "nowhere"}, 2, "there is no site 'nowhere'"),
        ({"--measure": "height"}, 2, "there is no measure 'height'"),
        ({"--month": "2031-01"}, 2, "nothing is published for 2031-01"),
        ({"--measure": "quarantined"}, 2, "is not counted in exams"),
    ],
)
def test_explain_command_says_what_is_not_there(published_demo, capsys, changed, code, said):
    asked = {"--site": "alder-sound", "--measure": "unreliable", "--month": "2026-10"} | changed
    words = [word for pair in asked.items() for word in pair]
    assert main(["explain", *words, "--network", str(published_demo)], {}) == code
    assert said in capsys.readouterr().err
