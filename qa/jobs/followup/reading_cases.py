"""A second reading that differs becomes a case."""

from datetime import date, datetime
from typing import Any

from qa.followup import decide, second_read
from qa.followup.case_events import CASE
from qa.followup.cases import Case, CaseExam
from qa.followup.readings import SAMPLE, Sample, SampledExam
from qa.jobs.followup.opening import change_record
from qa.model.months import month_name
from qa.stores.followup.store import Writing


def write_reading_case(
    writing: Writing,
    sample: Sample,
    exam: SampledExam,
    told: tuple[str, ...],
    *,
    owner: str,
    due_on: date,
    by: str,
    at: datetime,
) -> Case:
    """Open the case and link it to the sample; both records in one transaction, or none.

    Args: told: where both readings differ, in words.
    Raises: FollowupError FUP-057 when it has a case, or was not read; FUP-011 to FUP-013.
    """
    who: dict[str, Any] = {"by": by, "at": at}
    case_id = f"CASE-{writing.n_records(CASE.name) + 1:04d}"
    change_record(
        writing,
        SAMPLE,
        sample.sample_id,
        lambda one: second_read.link_case(one, code=exam.code, case_id=case_id),
        **who,
    )
    change_record(
        writing,
        CASE,
        case_id,
        lambda case: decide.open_case(
            case,
            site_id=exam.site_id or sample.site_id,
            title=f"Second reading of {month_name(sample.month)} differs",
            why=f"Operator {sample.operator_id}, {exam.shown}: {'; '.join(told)}",
            owner=owner,
            due_on=due_on,
        ),
        **who,
    )
    listed = [CaseExam(exam.exam_key, exam.shown)]
    return change_record(
        writing, CASE, case_id, lambda case: decide.list_exams(case, exams=listed), **who
    )
