"""What the Follow-up screen asks of operators' files and second readings at once."""

from collections.abc import Sequence
from datetime import date, timedelta

from qa.followup.readings import Sample
from qa.jobs.followup.competence import CompetenceDesk
from qa.jobs.followup.second_reading import SecondReadingDesk
from qa.model.months import add_months, month_name
from qa.model.published import Published
from qa.views.competence import CompetenceView, competence_view


def competence_of_month(
    desk: CompetenceDesk, published: Published, *, month: date
) -> CompetenceView:
    """Who lacks what, with practice up to the month; its exams outside an authorisation."""
    last = add_months(month, 1) - timedelta(days=1)
    return competence_view(
        desk.standings(published, month=month),
        desk.outside(published, from_day=month, to_day=last),
        network=published.network,
        has_files=bool(desk.files()),
        month_text=month_name(month),
    )


def differing(
    desk: SecondReadingDesk, samples: Sequence[Sample]
) -> dict[str, tuple[tuple[str, str, str], ...]]:
    """Sample id → code, what differs, and the case that it became ("" for none), of its exams."""
    return {
        sample.sample_id: tuple(
            (exam.code, "; ".join(told), exam.case_id)
            for exam in sample.exams
            if (told := desk.discrepancies(exam))
        )
        for sample in samples
    }
