"""Did it work? The words, order and figures of planned actions."""

from dataclasses import replace
from datetime import date

import pytest

from qa.followup.cases import Case, Check, Criterion, Plan
from qa.model.case_words import CaseState
from qa.model.parsing import parse_network
from qa.views.effects import effect_rows, worked_sentence
from tests.followup.notes import NETWORK_TEXT

NETWORK = parse_network(NETWORK_TEXT, where="network.toml")
CHECK_ON = date(2027, 3, 1)
CRITERION = Criterion("MSR-001", "site", "north", "c.v1", True, 0.12, 3, 50, CHECK_ON)
DUE, BEGUN = date(2026, 12, 1), date(2026, 11, 4)
PLAN = Plan("retraining", "Half a day", "probe choice", "", "", "lena", DUE, BEGUN, CRITERION)
# Wilson 95 % interval of 21 of 300 by the formula of Wilson 1927: 4.6 to 10.5 %.
FIGURES = {"n_events": 21, "n": 300, "value": 0.07, "lower": 0.0463, "upper": 0.1047}
OPENED = "2026-11-04T09:30:00"
CASE = Case("CASE-0001", "north", "t", "w", (), "lena", DUE, OPENED, "maria", plan=PLAN)


def checked(verdict: str, case_id: str = "CASE-0001") -> Case:
    check = Check(verdict, "s", date(2027, 3, 2), FIGURES)
    done = {"step": CaseState.ACTION_DONE, "done_on": DUE}
    return replace(CASE, case_id=case_id, checks=(check,), **done)


@pytest.mark.parametrize(
    ("case", "on", "said", "state"),
    [
        (
            replace(CASE, step=CaseState.ACTION_PLANNED),
            BEGUN,
            "the action is to be done by 2026-12-01",
            "watch",
        ),
        (
            replace(CASE, step=CaseState.ACTION_DONE, done_on=DUE),
            date(2027, 2, 28),
            "checked from 2027-03-01 on",
            "watch",
        ),
        (
            replace(CASE, step=CaseState.ACTION_DONE, done_on=DUE),
            CHECK_ON,
            "the check is due since 2027-03-01",
            "watch",
        ),
        (checked("effective"), CHECK_ON, "it worked", "steady"),
        (checked("not effective"), CHECK_ON, "it did not work", "look"),
        (checked("too few exams"), CHECK_ON, "too few exams to tell", "watch"),
    ],
)
def test_effect_rows_say_what_came_of_an_action(case: Case, on: date, said: str, state: str):
    (row,) = effect_rows([case, replace(CASE, plan=None)], network=NETWORK, on=on)
    assert (row.said, row.state, row.site_name) == (said, state, "North")
    assert row.criterion == "MSR-001 at most 12.0 % in each of 3 months, from 2027-03-01"
    assert row.action == "retraining, probe choice: Half a day"


def test_effect_rows_show_figures_with_their_interval_and_what_failed_first() -> None:
    good, bad = checked("effective"), checked("not effective", "CASE-0002")
    rows = effect_rows([good, bad], network=NETWORK, on=CHECK_ON)
    assert [row.case_id for row in rows] == ["CASE-0002", "CASE-0001"]
    assert rows[0].figures == "21 of 300, 7.0 % (4.6 to 10.5), checked 2027-03-02"


@pytest.mark.parametrize(
    ("verdicts", "words"),
    [
        ([], "No action was checked yet."),
        (["effective"], "The one action checked worked."),
        (["not effective"], "The one action checked did not work."),
        (["too few exams"], "The one action checked cannot be told."),
        (
            ["effective", "effective", "not effective"],
            "Of 3 actions checked, 2 worked and 1 did not.",
        ),
        (
            ["effective", "too few exams"],
            "Of 2 actions checked, 1 worked and 0 did not, 1 cannot be told yet.",
        ),
    ],
)
def test_worked_sentence_counts_what_worked(verdicts: list[str], words: str) -> None:
    assert worked_sentence([CASE, *(checked(one) for one in verdicts)]) == words
