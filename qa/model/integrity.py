"""Checks on data that are too good: one row for each, and the schema of what they find.

A check asks, it does not accuse. FALSE_LEVEL is the chance at which one check, over all sites (or
all operators) of an honest network and one period, asks anybody at all.
"""

from dataclasses import dataclass
from enum import StrEnum

import polars as pl

from qa.model.schemas import Column, Schema
from qa.model.words import UnitKind

FALSE_LEVEL = 0.01
STATED_FALSE_SHARE = 0.02
"""Honest networks in which one check asks about at least one of its units; measured by
`python -m tests.benchmarks integrity` to be at most this."""
PERIOD_MONTHS = 12
_BOTH = (UnitKind.SITE.value, UnitKind.OPERATOR.value)


class IntegrityState(StrEnum):
    """What a check says of a unit. "too few" and "cannot tell" are no passes."""

    ASKED = "asked"
    NOT_ASKED = "not asked"
    TOO_FEW = "too few"
    CANNOT_TELL = "cannot tell"


class Judged(StrEnum):
    """Where the chance of what was found comes from."""

    BY_ITSELF = "from the unit's own values"
    ALLOWED = "against an allowed share"
    MORE_THAN_PEERS = "more than the others, with an allowance"
    FEWER_THAN_PEERS = "fewer than the others, with an allowance"


@dataclass(frozen=True)
class IntegrityCheck:
    """One check.

    Args:
        code: INT-NNN, never used again for another check.
        question: with {found}, {n} and {expected}; worded so that an honest answer exists.
        innocent: honest reasons to think of first.
        min_n: what it looks at, at least so many; fewer: too few.
        min_found: asks from so many on (for FEWER_THAN_PEERS: not used).
        allowance: allowed share (ALLOWED), or factor on the others' share.
        floor: least share held to be honest (MORE_THAN_PEERS).
        units: kinds of units it looks at.
    """

    code: str
    title: str
    counted: str
    question: str
    innocent: str
    judged: Judged
    min_n: int
    min_found: int
    allowance: float
    method: str
    floor: float = 0.0
    units: tuple[str, ...] = _BOTH


CHECKS: tuple[IntegrityCheck, ...] = (
    IntegrityCheck(
        "INT-001",
        "The same figures in different patients",
        "exams with stiffness, attenuation and both IQRs",
        "{found} of {n} exams share all figures with an exam of another patient. How did this "
        "come about?",
        "A test record sent with the others; one patient under two numbers; a copy made when an "
        "exam was moved between systems.",
        Judged.BY_ITSELF,
        50,
        4,
        2.0,
        "Pairs of exams (different patients, no restarts) that agree in stiffness, attenuation, "
        "both IQRs and both counts, against twice the number that would agree if stiffness, "
        "attenuation and counts agreed independently; Poisson.",
    ),
    IntegrityCheck(
        "INT-002",
        "The same series of single readings",
        "exams with five or more single readings",
        "{found} of {n} exams hold exactly the readings of another exam, in their order. Were "
        "they entered twice?",
        "One exam exported under two numbers.",
        Judged.BY_ITSELF,
        20,
        2,
        2.0,
        "Pairs of equal series, against the number that would agree if each reading agreed by "
        "chance; Poisson.",
    ),
    IntegrityCheck(
        "INT-003",
        "One IQR again and again",
        "exams with an IQR",
        "One value of the IQR stands in {found} of {n} exams, where its neighbours let expect "
        "{expected}. Was it read from the device?",
        "A form that fills in a value; a device that shows IQRs in coarse steps.",
        Judged.BY_ITSELF,
        100,
        10,
        1.8,
        "The count of each value against 1.8 times the mean of the two on either side; binomial, "
        "times the number of values looked at. At least twice the mean. Steps are those that the "
        "device itself uses.",
    ),
    IntegrityCheck(
        "INT-004",
        "Last digits of stiffness",
        "stiffness medians",
        "Some last digits of stiffness come more often than others ({n} medians, preference index "
        "{found}). Were the values rounded by hand?",
        "Values typed from a printed page; a form that rounds.",
        Judged.BY_ITSELF,
        200,
        5,
        0.05,
        "Chi-square of last digits in the steps of the device, allowing 5 % of a digit's share; "
        "index at least 5. It cannot tell where the middle half of the values spans fewer than 15 "
        "steps.",
    ),
    IntegrityCheck(
        "INT-005",
        "Last digits of attenuation",
        "attenuation medians",
        "Some last digits of attenuation come more often than others ({n} medians, preference "
        "index {found}). Were the values rounded by hand?",
        "Values typed from a printed page; a form that rounds.",
        Judged.BY_ITSELF,
        200,
        5,
        0.05,
        "As for stiffness.",
    ),
    IntegrityCheck(
        "INT-006",
        "Faster than an exam can be",
        "exams that follow another patient's on the same day",
        "{found} of {n} exams begin less than two minutes after another patient's. Do the times "
        "say when they began?",
        "Times of entry instead of times of the exam; a shared log-in.",
        Judged.ALLOWED,
        50,
        5,
        0.01,
        "Starts less than 2 minutes apart (common practice, no source), of one operator; of a "
        "site, on one device. One in a hundred is allowed.",
    ),
    IntegrityCheck(
        "INT-007",
        "Two patients at once",
        "exams that follow another patient's of known duration",
        "{found} of {n} exams begin a minute or more before the one before ended. Who examined?",
        "A shared log-in; durations that include the report; two clocks.",
        Judged.ALLOWED,
        50,
        5,
        0.01,
        "Start before the end of the exam before, by more than 60 s, of one operator; of a site, "
        "on one device. One in a hundred is allowed.",
    ),
    IntegrityCheck(
        "INT-008",
        "Spread just inside its limit",
        "exams with IQR/median near the limit (0.4 to 1.6 of it)",
        "{found} of {n} exams near the limit of IQR/median lie just inside it, fewer outside than "
        "a smooth spread would have. What is done when an exam lies just outside?",
        "Going on measuring until the spread fits, which the protocol may allow.",
        Judged.BY_ITSELF,
        80,
        8,
        1.5,
        "Counts in 18 bins of the ratio over its limit, a smooth curve with and without a step at "
        "the limit; each bin is weighed by the ratios that the device's steps allow in it.",
    ),
    IntegrityCheck(
        "INT-009",
        "One valid measurement short, missing",
        "exams with one to three valid measurements too few",
        "Of {n} exams with one to three valid measurements too few, {found} lack just one; at the "
        "others it is about {expected}. Where are the rest?",
        "Going on measuring until the count is reached, which is right.",
        Judged.FEWER_THAN_PEERS,
        20,
        0,
        1.5,
        "Exams one short among those one to three short, against the share at the others, divided "
        "by 1.5; binomial.",
    ),
    IntegrityCheck(
        "INT-010",
        "Repeated until it was good",
        "patients examined on a day",
        "{found} of {n} patients were examined three times or more on a day, all but the last "
        "exam not reliable; at the others it would be about {expected}. When does one stop?",
        "Teaching; large patients in whom the probe was changed.",
        Judged.MORE_THAN_PEERS,
        50,
        4,
        2.0,
        "Days of a patient with three or more exams of which only the last is reliable, against "
        "twice the share at the others (at least 3 in 1,000); binomial.",
        floor=0.003,
    ),
    IntegrityCheck(
        "INT-011",
        "Hardly any exam fails",
        "judged exams",
        "{found} of {n} exams failed or were incomplete; at the others it would be about "
        "{expected}. Are exams that do not succeed sent too?",
        "An export that leaves out exams without a result; easy patients.",
        Judged.FEWER_THAN_PEERS,
        100,
        0,
        3.0,
        "Failed and incomplete exams against a third of the share at the others; binomial.",
    ),
    IntegrityCheck(
        "INT-012",
        "Median and single readings differ",
        "exams with single readings",
        "In {found} of {n} exams the median is not that of the single readings. Which of the two "
        "was changed?",
        "Readings that were left out after the median was stated; rounding.",
        Judged.ALLOWED,
        20,
        5,
        0.01,
        "Difference of more than one step of the device (or 1 %). One in a hundred is allowed.",
    ),
    IntegrityCheck(
        "INT-013",
        "Times unlike those of colleagues",
        "start times",
        "Start times end in other digits than those of the colleagues at the site ({n} times, "
        "difference index {found}). Are times entered by hand?",
        "Another room with another list; times of appointment.",
        Judged.BY_ITSELF,
        100,
        5,
        0.20,
        "Chi-square of the last digit of the minute against the colleagues', allowing a fifth of "
        "a digit's share; index at least 5.",
        units=(UnitKind.OPERATOR.value,),
    ),
    IntegrityCheck(
        "INT-014",
        "Exams at an even beat",
        "pairs of successive gaps between starts",
        "{found} of {n} gaps between starts equal the gap before to the second. Were the times "
        "made by a program?",
        "A program that spreads the day's exams evenly when it exports.",
        Judged.ALLOWED,
        30,
        5,
        0.02,
        "Gaps of 1 s to 2 h on one day, where times have seconds. Two in a hundred are allowed.",
    ),
    IntegrityCheck(
        "INT-015",
        "Jumps between exams of one patient",
        "reliable exams within 180 days of another reliable one of the patient",
        "In {found} of {n} patients seen again within 180 days stiffness changed by more than "
        "measuring again explains; at the others it would be about {expected}. Was it the same "
        "patient, and the same way of measuring?",
        "Flares and meals; confirmation of high values; a device exchanged in between.",
        Judged.MORE_THAN_PEERS,
        20,
        4,
        1.5,
        "Ratio of the two above 2.14 or below 1/2.14: 2.77 times a within-patient coefficient of "
        "variation of 27.4 % (Serra et al., Hepat Med 2020, read; the wider of its two devices, "
        "11.1 % on the other), on the log scale; against 1.5 times the others' share, at least "
        "5 %. Counted at the later exam.",
        floor=0.05,
        units=(*_BOTH, UnitKind.DEVICE.value),
    ),
)
CHECK_OF_CODE = {one.code: one for one in CHECKS}

INTEGRITY = Schema(
    "integrity",
    "One row per check and unit over the twelve months that end with the newest month.",
    ("check_id", "unit_kind", "unit_id"),
    (
        Column("check_id", pl.String, "Code of the check (INT-NNN)."),
        Column("unit_kind", pl.String, "site, operator or device."),
        Column("unit_id", pl.String, "Its id."),
        Column("site_id", pl.String, "Home site.", is_nullable=True),
        Column("from_month", pl.Date, "First month looked at."),
        Column("to_month", pl.Date, "Last month looked at."),
        Column("n", pl.Int64, "What the check looked at.", "exams, or as the check says"),
        Column("n_found", pl.Float64, "What it found; an index where the check says so."),
        Column("expected", pl.Float64, "What an honest unit would have.", is_nullable=True),
        Column("p_value", pl.Float64, "Chance of it in an honest unit.", is_nullable=True),
        Column("level", pl.Float64, "Asked at this chance or less.", is_nullable=True),
        Column("state", pl.String, "asked, not asked, too few or cannot tell."),
        Column("words", pl.String, "The question, or why none is asked."),
    ),
)
