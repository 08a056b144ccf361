"""What changed between two versions, in words."""

import pytest

from qa.followup.differences import find_differences
from qa.jobs.followup.drafts import find_definition
from qa.model.document_words import DocumentKind

RULE = '[[stiffness]]\ntechniques = ["TE"]\nmin_valid = 10\n'


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("", "a = 1", ()),
        ("a = 1 # old\n", "\na=1", ()),
        ('id = "x.v1"\nversion = 1\na = 1', 'id = "x.v2"\nversion = 2\na = 1', ()),
        ("min_n = 10", "min_n = 12", ("fewest for a verdict: 10, now 12",)),
        ("is_grade = false", "is_grade = true", ("is grade: no, now yes",)),
        ("a = 1\nb = 2", "b = 2", ("a: 1, now left out",)),
        ("b = 2", "a = [1, 2]\nb = 2", ("a: new, 1, 2",)),
        (
            RULE,
            RULE.replace("10", "8"),
            ("stiffness rule for TE, valid measurements needed: 10, now 8",),
        ),
        ("x" * 3, "y = [", ("line left out: xxx", "new line: y = [")),
    ],
)
def test_find_differences(before: str, after: str, said: tuple[str, ...]) -> None:
    assert find_differences(before, after) == said


def test_find_differences_does_not_hang_on_the_order_of_rules() -> None:
    other = RULE.replace('"TE"', '"pSWE"')
    assert find_differences(RULE + other, other + RULE) == ()


def test_find_differences_between_two_sets_of_the_program_names_the_success_rate() -> None:
    """As the notes of classic.v1 say: six in ten attempts valid, exactly 30 % passes."""
    texts = [
        find_definition(DocumentKind.CRITERIA, one)[0]
        for one in ("common-practice.v1", "classic.v1")
    ]
    said = find_differences(*texts)
    assert "stiffness rule for TE, lowest share of valid among attempted: new, 0.6" in said
    assert any(one.startswith("attenuation rule") for one in said)
