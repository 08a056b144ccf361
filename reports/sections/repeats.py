"""Repeats: how many exams had to be done again, and how many that should have been were not."""

from reportlab.platypus import Flowable

from qa.views.pack import SitePack
from reports.parts import note, section, text


def repeat_section(pack: SitePack) -> list[Flowable]:
    """Sentences only; the chart of repeats stands among the control charts."""
    return [
        *section("repeats", "Repeats", room=110.0),
        text(pack.repeats.sentence),
        note(
            "A repeat is the same patient again within "
            f"{pack.repeats.window_days} days after an exam that was not reliable. A planned "
            "follow-up is none. A site that never calls anybody back shows no repeats, so both "
            "numbers stand together. The rate by month is among the control charts, by operator "
            "in the table above."
        ),
    ]
