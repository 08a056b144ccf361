"""Grade distributions with the caution, the table's id, its source and how sure it is."""

from reportlab.platypus import Flowable, KeepTogether

from qa.model.definitions import GRADE_CAUTION
from qa.views.pack import SitePack
from reports.draw import GradeChart
from reports.parts import gap, note, section, small, text
from reports.sections.charts import chart_pairs


def grade_section(pack: SitePack) -> list[Flowable]:
    """One chart for each table that graded exams of the last year."""
    story = section("grades", "Grade distribution", room=210.0)
    story.append(small(GRADE_CAUTION))
    if not pack.grades:
        return [*story, small("No exam of the last twelve months has a grade.")]
    for block in pack.grades:
        story.append(
            KeepTogether(
                [
                    gap(12),
                    text(block.sentence, is_strong=True),
                    gap(2),
                    GradeChart(block.bars),
                    note(f"{block.table_text} Thin lines: Wilson 95 % intervals."),
                ]
            )
        )
    raised = [block for block in pack.site_charts if block.chart.is_grade]
    return [*story, *chart_pairs(raised, month=pack.site.month)]
