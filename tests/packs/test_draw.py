"""Marks, axes and charts as drawn: shapes carry the meaning, axes are round, long names fit."""

import re
from datetime import date

import pytest
from reportlab.pdfgen.canvas import Canvas

from qa.model.errors import PackError
from qa.model.months import add_months
from qa.views.shown import ChartPoint, ChartView, GradeBar
from reports import look
from reports.draw import ControlChart, GradeChart, draw_mark
from reports.draw.axis import share_range, share_ticks, spread, tick_texts
from reports.parts import fit, text

FIRST = date(2026, 1, 1)


def canvas() -> Canvas:
    look.register_fonts()
    return Canvas("unused.pdf", initialFontName=look.REGULAR)


def drawn_without_colour(state: str) -> str:
    """Operators of a mark without those that set colours."""
    page = canvas()
    draw_mark(page, state, 100, 100)
    return "\n".join(line for line in page._code if not re.search(r" (rg|RG|g|G)$", line))


def test_marks_differ_in_shape_when_colour_is_taken_away() -> None:
    look_shape, watch_shape = drawn_without_colour("look"), drawn_without_colour("watch")
    others = {drawn_without_colour(state) for state in ("steady", "few", "late")}
    assert len(others) == 3
    assert not others & {look_shape, watch_shape}


def test_filled_and_hollow_diamond_differ_in_grey() -> None:
    """Relative luminance (WCAG 2.1): plum fill is dark, paper fill is light."""

    def luminance(colour: object) -> float:
        parts = [getattr(colour, name) for name in ("red", "green", "blue")]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    def contrast(a: object, b: object) -> float:
        light, dark = sorted((luminance(a), luminance(b)), reverse=True)
        return (light + 0.05) / (dark + 0.05)

    assert contrast(look.LOOK, look.PAPER) > 7
    assert contrast(look.INK, look.PAPER) > 7
    assert contrast(look.MUTED, look.PAPER) > 4.5


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0.0, 0.17, ["0", "5", "10", "15 %"]),
        (0.0, 0.02, ["0", "0.5", "1", "1.5", "2 %"]),
        (0.85, 1.0, ["85", "90", "95", "100 %"]),
        (0.0, 1.0, ["0", "25", "50", "75", "100 %"]),
    ],
)
def test_axis_has_round_ticks(low: float, high: float, ticks: list[str]) -> None:
    assert tick_texts(share_ticks(low, high)) == ticks


def test_axis_shows_every_value_and_starts_at_nought_or_near_the_data() -> None:
    assert share_range([0.0, 0.3], [0.0], [0.1]) == (0.0, pytest.approx(0.336))
    low, high = share_range([0.93, 0.97], [0.9, 0.9], [1.0, 1.0])
    assert 0.5 < low <= 0.9
    assert high == 1.0
    assert share_range([], [], []) == (0.0, 0.02)


def test_one_month_with_few_exams_does_not_flatten_the_axis() -> None:
    assert share_range([0.05] * 10, [0.0] * 10, [0.1] * 9 + [1.0])[1] < 0.2


def test_labels_are_spread_and_keep_their_order() -> None:
    moved = spread([10.0, 11.0, 50.0], gap=8.0)
    assert moved[1] - moved[0] >= 7.99
    assert moved[2] == 50.0
    assert spread([1.0, 2.0, 50.0], gap=8.0, low=5.0) == [5.0, 13.0, 50.0]


def chart(points: tuple[ChartPoint, ...]) -> ChartView:
    names = ("Eider Point", "MSR-001", "Unreliable exams", "Unreliable")
    return ChartView("site", "EP", *names, "finding", "why", points, "No baseline yet.", "lower")


def point(n_month: int, value: float | None, *, criteria_id: str = "a.v1") -> ChartPoint:
    month = add_months(FIRST, n_month)
    few = (None, None, None, None, None)
    return ChartPoint(month, 10, 1, value, *few, "monitoring", "steady", (), criteria_id)


def test_line_is_broken_where_months_or_criteria_change() -> None:
    joined = (point(0, 0.1), point(1, 0.2), point(2, 0.1))
    gap = (point(0, 0.1), point(2, 0.2), point(3, 0.1))
    changed = (point(0, 0.1), point(1, 0.2, criteria_id="b.v1"), point(2, 0.1, criteria_id="b.v1"))
    assert [_strokes(points) for points in (joined, gap, changed)] == [2, 1, 1]


def _strokes(points: tuple[ChartPoint, ...]) -> int:
    """Lines between points: path segments drawn in the line's tint."""
    page = canvas()
    ControlChart(chart(points)).drawOn(page, 0, 0)
    tint = look.tint(0.62)
    colour = f"{tint.red:.6f}"[:6].lstrip("0")
    at = next(i for i, line in enumerate(page._code) if line.startswith(colour) and "RG" in line)
    return next(line for line in page._code[at:] if " m " in line or line.startswith("n")).count(
        " l"
    )


@pytest.mark.parametrize("points", [(), (point(0, None),), (point(0, 0.0),), (point(0, 1.0),)])
def test_empty_and_one_month_charts_are_drawn(points: tuple[ChartPoint, ...]) -> None:
    ControlChart(chart(points), to_month=add_months(FIRST, 3)).drawOn(canvas(), 0, 0)
    ControlChart(chart(points)).drawOn(canvas(), 0, 0)


def test_bars_of_different_tables_are_refused() -> None:
    bars = [GradeBar("a", f"t{i}", 1, ("low",), (1.0,), (1,)) for i in range(2)]
    with pytest.raises(ValueError, match="different grade tables"):
        GradeChart(bars)


def test_long_names_are_shortened_to_fit() -> None:
    short = fit("A clinic with a name that goes on and on", 60.0)
    assert short.endswith("…")
    assert look.text_width(short) <= 60.0
    assert fit("Short", 60.0) == "Short"


def test_letters_without_a_glyph_are_named() -> None:
    with pytest.raises(PackError, match=r"PCK-009.*U\+6C34"):
        text("水")
    text("Łódź, Ålesund, Θεσσαλονίκη, Клиника ≥ 30 %")
