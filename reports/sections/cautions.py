"""Cautions: what the pack is not, and where its figures are weak."""

from reportlab.platypus import Flowable

from qa.views.pack_record import CAUTIONS
from reports.parts import gap, section, small


def caution_section() -> list[Flowable]:
    """The same on every pack."""
    story = section("cautions", "Cautions", room=150.0)
    for caution in CAUTIONS:
        story += [small(caution), gap(4)]
    return story
