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
        tail: probability on the bad side up to which a count is called more than chance; None
            where it follows from the network's false-alarm budget or is not used.
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
        "beyond them. Worth watching; among many charts some lie outside by chance each month."
    ),
    source="Shewhart 1931; Western Electric 1956, test 1",
    state="watch",
    min_bad=2,
)

QUARTER = ChartRule(
    code="RUL-002",
    title="Last three months together",
    sentence=(
        "The last three months together hold more exams on the bad side than chance gives in one "
        "of 400 such periods, and the month itself lies on the bad side of the centre line. The "
        "probability allows for how many exams the baseline rests on, and lets the baselines of "
        "its peers speak where these hardly differ. Worth watching: RUL-006 decides."
    ),
    source=(
        "pooling small months to a quarter: common textbook matter; beta-binomial probability: "
        "Skellam 1948, peers: Kleinman 1973; 1 in 400 is a proposal of this tool"
    ),
    state="watch",
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
    sentence=("As RUL-002 over the last six months, of which at least four have exams."),
    source="as RUL-002; six months are a proposal of this tool",
    state="watch",
    n_months=6,
    tail=0.0025,
    min_months=4,
    min_bad=2,
)

DRIFT = ChartRule(
    code="RUL-006",
    title="Lasting change",
    sentence=(
        "The evidence for a lasting change, summed over the months (CUSUM), has reached its "
        "limit: odds two and a half times those expected, or a smaller change where there are "
        "many events. The limit is set so that all charts of the network together stay within "
        "its false-alarm budget; it is higher where the baseline is short. The item closes when "
        "the months since are ten times as likely with what was expected as with what was seen "
        "while the evidence rose."
    ),
    source=(
        "Page, Biometrika 1954; 41: 100-115; Steiner et al., Biostatistics 2000; 1: 441-452; "
        "limits by exact run lengths (Brook and Evans 1972) are worked out by this tool"
    ),
    state="look",
    min_bad=2,
)

FAR_OUTSIDE = ChartRule(
    code="RUL-007",
    title="Far outside the limits",
    sentence=(
        "The month alone holds more exams on the bad side than the network's false-alarm budget "
        "lets pass as chance: fewer than one in 3,000 such months, and fewer still where many "
        "charts are watched. The probability allows for how many exams the baseline rests on."
    ),
    source="Shewhart 1931; beta-binomial probability: Skellam 1948; the level follows the budget",
    state="look",
    min_bad=2,
)

CHART_RULES: dict[str, ChartRule] = {
    rule.code: rule
    for rule in (
        OUTSIDE_LIMITS,
        QUARTER,
        FUNNEL,
        EIGHT_IN_A_ROW,
        HALF_YEAR,
        DRIFT,
        FAR_OUTSIDE,
    )
}

POOLED_RULES: tuple[ChartRule, ...] = (QUARTER, HALF_YEAR)
