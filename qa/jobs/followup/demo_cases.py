"""Two cases of the invented network: one overdue, one whose action worked by the months after it.

Told by the default scenario: the fasting of Dunlin Quay slipped from December 2025 to May 2026.
The action of the second case was done when it ended, so that its check has to find it effective.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path

from qa.jobs.followup.archive import NetworkArchive
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.plan_form import PlanForm
from qa.model.definitions import Network
from qa.model.permissions import Actor
from qa.model.published import Published
from qa.stores.followup.store import FollowupStore

LATE_SITE, SITE = "heron-mill", "dunlin-quay"
LATE_TITLE, OWNER = "Large-patient probe gives weak contact", "Lead of Heron Mill (invented)"
LATE_SINCE = date(2026, 10, 15)
OPENED, DONE_ON = datetime(2026, 5, 20, 8, tzinfo=UTC), date(2026, 5, 31)
LATE_OPENED = datetime(2026, 9, 14, 8, tzinfo=UTC)
CHECKED = datetime(2026, 10, 12, 8, tzinfo=UTC)
PLAN = PlanForm(
    kind="protocol change",
    words="Patients are asked about their last meal on the telephone (invented)",
    owner="Lead of Dunlin Quay (invented)",
    due_on=DONE_ON,
    threshold_percent=10,
    check_on=date(2026, 9, 1),
    measure_id="MSR-009",
)


def demo_cases(
    folder: Path, store: FollowupStore, network: Network, published: Published, *, by: Actor
) -> Iterator[tuple[datetime, Callable[[], object]]]:
    """When each was written and how; nothing in a network without these two sites."""
    if not {LATE_SITE, SITE} <= {site.id for site in network.sites}:
        return

    def desk(at: datetime) -> CaseDesk:
        return CaseDesk(store, by, at, NetworkArchive(folder))

    opened: list[str] = []

    def open_and_plan() -> None:
        own = desk(OPENED)
        case_id = own.open(
            title="Fasting before exams slipped",
            why="More patients than before had eaten within three hours (invented)",
            site_id=SITE,
            owner=PLAN.owner,
            due_on=DONE_ON,
        ).case_id
        own.contain(case_id, words="The exams concerned were looked at again", seen_no=None)
        own.find_cause(
            case_id,
            category="preparation of the patient",
            method="talked with the people involved",
            words="Letters told patients too late (invented)",
            seen_no=None,
        )
        own.plan_action(case_id, PLAN, published=published, seen_no=None)
        opened.append(case_id)

    def check_and_close() -> None:
        own = desk(CHECKED)
        own.finish_action(opened[0], done_on=DONE_ON, words="Since June", seen_no=None)
        own.check(opened[0], published=published, seen_no=None)
        own.close(opened[0], words="The months after kept the limit", seen_no=None)

    yield OPENED, open_and_plan
    yield CHECKED, check_and_close
    yield (
        LATE_OPENED,
        lambda: desk(LATE_OPENED).open(
            title=LATE_TITLE,
            why="Operators told it at the monthly meeting (invented)",
            site_id=LATE_SITE,
            owner=OWNER,
            due_on=LATE_SINCE,
        ),
    )
