"""Two cases in a demo's record: one overdue, one whose action worked by the months after it.

Planted by the default scenario: the fasting of Dunlin Quay slipped from December 2025 to May 2026.
The action of the second case was done when it ended, so that its check has to find it effective.
"""

from datetime import UTC, date, datetime
from pathlib import Path

from qa.jobs.followup.archive import NetworkArchive
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import open_record
from qa.jobs.followup.plan_form import PlanForm
from qa.model.permissions import Actor, Role
from qa.stores.snapshots import open_current

MANAGER = Actor("demo-manager", "Invented QA manager", (Role.QA_MANAGER,))
OWNER = "Lead of Heron Mill (invented)"
LATE_SINCE = date(2020, 1, 1)
DONE_ON, CHECKED_ON = date(2026, 5, 31), datetime(2026, 11, 4, 8, tzinfo=UTC)
PLAN = PlanForm(
    kind="protocol change",
    words="Patients are asked about their last meal on the telephone (invented)",
    owner="Lead of Dunlin Quay (invented)",
    due_on=DONE_ON,
    threshold_percent=10,
    check_on=date(2026, 9, 1),
    measure_id="MSR-009",
)


def keep_demo_cases(folder: Path) -> None:
    """Write both cases into the store of a published demo."""
    store, published = open_record(folder, environ={}), open_current(folder)
    try:
        late = CaseDesk(store, MANAGER, CHECKED_ON, NetworkArchive(folder))
        late.open(
            title="Probes", why="A letter", site_id="heron-mill", owner=OWNER, due_on=LATE_SINCE
        )
        then = datetime(2026, 5, 20, 8, tzinfo=UTC)
        first = CaseDesk(store, MANAGER, then, NetworkArchive(folder))
        case_id = first.open(
            title="Fasting", why="A letter", site_id="dunlin-quay", owner=PLAN.owner, due_on=DONE_ON
        ).case_id
        first.contain(case_id, words="Looked at again", seen_no=None)
        first.find_cause(
            case_id,
            category="preparation of the patient",
            method="talked with the people involved",
            words="Told too late (invented)",
            seen_no=None,
        )
        first.plan_action(case_id, PLAN, published=published, seen_no=None)
        after = CaseDesk(store, MANAGER, CHECKED_ON, NetworkArchive(folder))
        after.finish_action(case_id, done_on=DONE_ON, words="Since June", seen_no=None)
        after.check(case_id, published=published, seen_no=None)
    finally:
        store.close()
