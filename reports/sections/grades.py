"""Grade distributions with the table's id, its source and how sure it is."""

from reportlab.platypus import Flowable, KeepTogether

from qa.views.paper import Grades
from reports.draw import GradeChart
from reports.parts import gap, note, text


def grade_chart(grades: Grades) -> list[Flowable]:
    """One table's bands: a sentence, the bars, and the table in words."""
    block = grades.block
    below = f"{block.table_text} Thin lines: Wilson 95 % intervals."
    story = [gap(12), text(block.sentence, is_strong=True), gap(2), GradeChart(block.bars)]
    return [KeepTogether([*story, note(below)])]
