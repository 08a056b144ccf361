"""The shapes of export that the invented sites send: one row defines a shape.

Headings and codes stand twice on purpose, in shapes_*.py for writing and in profiles/*.toml for
reading; a test holds them together.
"""

from demo_sites.shape import Shape
from demo_sites.shapes_coded import BEACON, ESTUARY
from demo_sites.shapes_readings import PEBBLE, TERRACE
from demo_sites.shapes_text import CAUSEWAY, HARBOUR, LANTERN, SHINGLE, TIDEWAY
from demo_sites.shapes_typed import MEADOW, ORCHARD, PIER

SHAPES: tuple[Shape, ...] = (
    HARBOUR, LANTERN, TIDEWAY, CAUSEWAY, SHINGLE, ORCHARD, PIER, MEADOW, PEBBLE, TERRACE, ESTUARY,
    BEACON,
)  # fmt: skip

INVENTED_SHAPES = tuple(shape for shape in SHAPES if not shape.is_one_exam_a_file)
"""Shapes that a site may have for all of its exams."""

SHAPE_INDEX = {shape.id: number for number, shape in enumerate(SHAPES)}


def shape_by_id(shape_id: str) -> Shape:
    return SHAPES[SHAPE_INDEX[shape_id]]
