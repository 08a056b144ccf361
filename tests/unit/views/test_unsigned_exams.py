"""Exams between an event of their device and its sign-off are marked."""

from datetime import date

import polars as pl
import pytest

from qa.model.equipment_schemas import EQUIPMENT_EVENTS
from qa.views.exams import UNSIGNED, exams_before_sign_off, exams_to_look_at
from tests.pages.sample_published import sample_published

EVENT = {"device_id": "D1", "entry_no": 2, "site_id": "S1", "event": "update of the device"}


def published(probe: str = "", signed_on: date | None = date(2026, 3, 9)):
    row = {**EVENT, "probe": probe, "event_on": date(2026, 3, 2), "signed_on": signed_on}
    schema = EQUIPMENT_EVENTS.to_polars()
    return sample_published().with_frame("equipment_events", pl.DataFrame([row], schema=schema))


@pytest.mark.parametrize(
    ("day", "device", "probe", "is_marked"),
    [
        (date(2026, 3, 1), "D1", "", False),
        (date(2026, 3, 2), "D1", "", True),
        (date(2026, 3, 8), "D1", "", True),
        (date(2026, 3, 9), "D1", "", False),
        (date(2026, 3, 8), "D2", "", False),
        (date(2026, 3, 8), "D1", "standard", True),
        (date(2026, 3, 8), "D1", "large-patient", False),
    ],
)
def test_exam_is_marked_from_the_event_to_the_day_before_sign_off(day, device, probe, is_marked):
    exam = {"exam_key": "e", "device_id": device, "exam_on": day, "probe": "standard"}
    found = exams_before_sign_off(published(probe), pl.DataFrame([exam]))
    assert found == ({"e"} if is_marked else set())


def test_nobody_signed_off_marks_all_later_exams_in_the_list():
    shown = published(signed_on=None)
    exams = shown.frame("exams")
    device = exams["device_id"][0]
    rows = shown.frame("equipment_events").with_columns(device_id=pl.lit(device))
    marked = exams_to_look_at(shown.with_frame("equipment_events", rows), exams)
    assert {UNSIGNED in one.reasons for one in marked if one.device_id == device} == {True}
    assert {UNSIGNED in one.reasons for one in marked if one.device_id != device} <= {False}
