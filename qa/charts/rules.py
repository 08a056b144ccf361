"""Chart rules: each is one row with its code, its sentence and its source."""

from dataclasses import dataclass


@dataclass(frozen=True)
class ChartRule:
    """One rule that a point of a chart or a unit of a funnel may break.

    Args:
        code: stable code that people quote.
        title: a few words.
        sentence: what the rule says, for the Methods screen.
        source: where it is published, or that it is a proposal of this tool.
        state: what a point that breaks it becomes: look or watch.
        n_months: months that it looks at.
        tail: probability on the bad side up to which a count is called more than chance.
        min_months: months with exams that have to lie in the window.
        min_bad: fewest exams that count as bad; one exam alone is no pattern.
    """

    code: str
    title: str
    sentence: str
    source: str
    state: str
    n_months: int = 1
    tail: float | None = None
    min_months: int = 1
    min_bad: int = 1


OUTSIDE_LIMITS = ChartRule(
    code="RUL-001",
    title="Outside the limits",
    sentence=(
        "The month lies outside the control limits on the bad side, with at least two exams that "
        "count against it. Limits are three sigma where at least five exams of either kind are "
        "expected in the month, else exact binomial limits with a probability of 0.135 % or less "
        "beyond them."
    ),
    source="Shewhart 1931; Western Electric 1956, test 1",
    state="look",
    min_bad=2,
)

QUARTER = ChartRule(
    code="RUL-002",
    title="Last three months together",
    sentence=(
        "The last three months together hold more exams on the bad side than chance gives in one "
        "of 400 such periods, and the month itself lies on the bad side of the centre line. The "
        "probability allows for how many exams the baseline rests on, and lets the baselines of "
        "its peers speak where these hardly differ. It finds changes that are too small, or "
        "units that are too small, for a single month."
    ),
    source=(
        "pooling small months to a quarter: common textbook matter; beta-binomial probability: "
        "Skellam 1948, peers: Kleinman 1973; 1 in 400 is a proposal of this tool"
    ),
    state="look",
    n_months=3,
    tail=0.0025,
    min_months=2,
    min_bad=2,
)

FUNNEL = ChartRule(
    code="RUL-003",
    title="Outside the funnel",
    sentence=(
        "Over the months of the funnel the unit lies outside the exact 99.8 % limits on the bad "
        "side, and still does when the ordinary spread between units is allowed for and in the "
        "last three months. It compares units with each other and also finds one that has "
        "always differed; other patients may be the reason."
    ),
    source="Spiegelhalter, Stat Med 2005; 24: 1185-1202",
    state="look",
    n_months=12,
    tail=0.001,
    min_bad=2,
)

EIGHT_IN_A_ROW = ChartRule(
    code="RUL-004",
    title="Eight in a row",
    sentence=(
        "Eight months in a row lie on the bad side of the centre line. Worth watching, not yet "
        "an item to decide."
    ),
    source="Western Electric 1956, test 4 (eight, not nine, in a row)",
    state="watch",
    n_months=8,
)

HALF_YEAR = ChartRule(
    code="RUL-005",
    title="Last six months together",
    sentence=(
        "As RUL-002 over the last six months, of which at least four have exams. It finds a "
        "lasting change at an operator with some 25 exams a month."
    ),
    source="as RUL-002; six months are a proposal of this tool",
    state="look",
    n_months=6,
    tail=0.0025,
    min_months=4,
    min_bad=2,
)

CHART_RULES: dict[str, ChartRule] = {
    rule.code: rule for rule in (OUTSIDE_LIMITS, QUARTER, FUNNEL, EIGHT_IN_A_ROW, HALF_YEAR)
}

POOLED_RULES: tuple[ChartRule, ...] = (QUARTER, HALF_YEAR)

# Items that a month's list holds by chance alone for each watched series (one unit and measure)
# when nothing has changed: 1.6 for 12 sites and 45 operators with 8 measures. Simulated: 40
# networks of 18 months, standard error 0.07; tests/property/test_alarm_rates.py repeats a part.
# At the same limits a rise from 5 to 15 % at 25, 30, 37 and 40 exams a month is listed within
# six months in 90, 95, 97 and 99 of 100 operators; from 8 to 18 % in 83, 85, 93 and 95.
FALSE_ITEMS_PER_SERIES = 0.0035
