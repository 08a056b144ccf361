"""Exams to look at: pseudonyms that the site can resolve, and the rule that was not met."""

from reportlab.platypus import Flowable

from qa.views import words
from qa.views.pack import SitePack
from reports import look
from reports.parts import fit, gap, note, section, small, table


def exam_section(pack: SitePack) -> list[Flowable]:
    """Failed exams first, then incomplete ones, then the widest spread."""
    story = section("exams", "Exams to look at", room=150.0)
    site, n_all = pack.site, len(pack.site.exams)
    if not site.n_exams:
        return [*story, small(f"No exams in {site.month_text}.")]
    if not n_all:
        return [*story, small(f"Every exam judged in {site.month_text} was reliable.")]
    were = "was" if n_all == 1 else "were"
    lead = f"{words.counted(n_all, 'exam')} of {site.month_text} {were} not reliable."
    if n_all > len(pack.exams):
        lead += f" The {len(pack.exams)} plainest are listed; the Site screen shows all."
    files = sorted({exam.file_name for exam in pack.exams})
    if len(files) == 1:
        lead += f" Rows are those of {files[0]}, counted under its headings."
    widths = (54.0, 38.0, 48.0, 32.0 if len(files) == 1 else 104.0, 56.0)
    rows = [
        [
            exam.key,
            exam.day,
            fit(exam.operator_id, widths[2] - 8),
            str(exam.row_no) if len(files) == 1 else small(f"{exam.file_name}, row {exam.row_no}"),
            small(exam.outcome),
            small(exam.why),
        ]
        for exam in pack.exams
    ]
    where = "Row" if len(files) == 1 else "In the site's file"
    headings = ("Exam", "Day", "Operator", where, "Outcome", "Why")
    return [
        *story,
        small(lead),
        gap(6),
        table(headings, rows, widths=(*widths, look.WIDTH - sum(widths))),
        gap(3),
        note(
            "The exam's code is the start of its pseudonym; file and row lead the site to the "
            "exam. No patient is named and no result is shown."
        ),
    ]
