"""Phantom checks as evidence: how old, in which state, on which phantom, as known at month's end.

Limits are the tool's own proposal (35 days; 10 % from the certificate beyond its uncertainty), so
cases lie on both sides of them; the month is October 2026, whose last day is the 31st.
"""

from datetime import date, timedelta

import pytest

from qa.drift.phantom_checks import Session
from qa.followup.checks import CheckSeries
from qa.followup.phantoms import CertificateEntry, Phantom
from tests.followup.record_facts import answer, facts, snapshot

LAST = date(2026, 10, 31)
USED = snapshot(devices={"dev-1": 20})


def phantom(*, expires: date = date(2027, 1, 1)) -> dict[str, Phantom]:
    given = CertificateEntry("C-1", 7.0, 0.1, date(2024, 1, 1), expires)
    return {"PH": Phantom("PH", "Gel (invented)", "stiffness", "", (given,))}


def series(*days_before: int, level: float = 7.0, device: str = "dev-1") -> CheckSeries:
    sessions = tuple(
        Session(no, LAST - timedelta(days=ago), (level - 0.1, level, level + 0.1))
        for no, ago in enumerate(days_before, start=1)
    )
    return CheckSeries(device, "standard", "PH", sessions)


@pytest.mark.parametrize(
    ("checks", "expires", "said", "words"),
    [
        ((series(35),), 2027, "met", "checked on 2026-09-26, baseline"),
        ((series(36),), 2027, "not met", "asked is a check within 35 days"),
        ((series(400, 0),), 2027, "met", "checked on 2026-10-31"),
        ((series(-1),), 2027, "not met", "never checked by the month's end"),
        ((series(40, -5),), 2027, "not met", "checked on 2026-09-21"),
        ((series(3),), 2025, "not met", "phantom expired"),
        ((series(3, level=8.0),), 2027, "not met", "far from the certificate"),
        ((series(3, level=7.5),), 2027, "met", "warning"),
        ((series(3, device="dev-2"),), 2027, "not met", "never checked"),
        ((), 2027, "no evidence", ""),
    ],
)
def test_device_is_current_by_its_newest_check_in_order(checks, expires, said, words) -> None:
    told = facts(snapshot=USED, checks=checks, phantoms=phantom(expires=date(expires, 1, 1)))
    verdict = answer("phantom checks", told)
    assert verdict.answer == said
    assert words in " ".join(one.words for one in verdict.found.evidence)


def test_evidence_names_the_series_that_can_be_opened() -> None:
    told = facts(snapshot=USED, checks=(series(3),), phantoms=phantom())
    (one,) = answer("phantom checks", told).found.evidence
    assert (one.kind, one.ref) == ("device", "dev-1/standard/PH")


def test_check_that_asks_for_action_outweighs_one_in_order() -> None:
    bad = CheckSeries("dev-1", "large-patient", "PH", series(5, level=9.0).sessions)
    told = facts(snapshot=USED, checks=(bad, series(3)), phantoms=phantom())
    assert answer("phantom checks", told).answer == "not met"


def test_without_devices_or_phantoms_there_is_no_evidence_of_them() -> None:
    assert answer("phantom checks", facts(checks=(series(3),))).answer == "no evidence"
    told = facts(snapshot=USED, checks=(series(3),))
    assert answer("phantom checks", told).answer == "not met"
