"""Building blocks of pages: headings with bookmarks, paragraphs, tables with hairlines."""

import re
from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias
from xml.sax.saxutils import escape

from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    KeepTogether,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from qa.views.paper import Paper
from reports import look

# A number stays with its unit, and a sign with the number after it.
GLUED = re.compile(r"(?<=\d) (?=%|kPa|dB/m|m/s|h\b|exams?\b)|(?<=[≥<>=]) ")
Cell: TypeAlias = str | Flowable | Sequence[Flowable]


class Bookmark(Flowable):
    """An entry of the document's outline; takes no room. page: where it was drawn, 0 before."""

    def __init__(self, key: str, title: str, *, level: int = 0) -> None:
        super().__init__()
        self.key, self.title, self.level = key, title, level
        self.page = 0

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return 0.0, 0.0

    def draw(self) -> None:
        self.page = self.canv.getPageNumber()
        self.canv.bookmarkHorizontal(self.key, 0, look.LEADING[look.TITLE])
        self.canv.addOutlineEntry(self.title, self.key, self.level, closed=False)


class PageTwo(CondPageBreak):
    """Ends page one; where its words have run over to the next page, nothing."""

    def __init__(self) -> None:
        super().__init__(0)

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        self.height = look.A4[1] if self.canv.getPageNumber() == 1 else 0.0
        return super().wrap(available_width, available_height)


def text(
    words: str, *, size: float = look.BODY, is_strong: bool = False, is_muted: bool = False
) -> Paragraph:
    """A paragraph of plain words; markup in them is shown, not obeyed."""
    look.check_glyphs(words)
    return Paragraph(
        escape(GLUED.sub("\u00a0", words)), look.style(size, is_strong=is_strong, is_muted=is_muted)
    )


def small(words: str, *, is_strong: bool = False, is_muted: bool = False) -> Paragraph:
    return text(words, size=look.SMALL, is_strong=is_strong, is_muted=is_muted)


def note(words: str) -> Paragraph:
    """Muted small words under a chart or table."""
    return small(words, is_muted=True)


def section(key: str, title: str, *, room: float) -> list[Flowable]:
    """A section's heading. It starts a new page where less than `room` points are left, so that
    no heading stands alone at the foot of a page."""
    return [
        CondPageBreak(room),
        _heading(Bookmark(key, title), title),
        Spacer(0, 6),
    ]


def _heading(bookmark: Bookmark, title: str) -> Flowable:
    """Bookmark and words as one block; its space above falls away at the top of a page."""
    block = grid([[bookmark, text(title, size=look.HEAD, is_strong=True)]], widths=(look.WIDTH,))
    block.spaceBefore = 22.0
    block.bookmark = bookmark
    return block


def part(title: str, *, room: float = 60.0) -> list[Flowable]:
    """A heading inside a section or on page one."""
    return [CondPageBreak(room), Spacer(0, 10), text(title, is_strong=True), Spacer(0, 3)]


def gap(points: float = 8.0) -> Spacer:
    return Spacer(0, points)


def table(
    headings: Sequence[str],
    rows: Sequence[Sequence[Cell]],
    *,
    widths: Sequence[float],
    right: Sequence[int] = (),
) -> Table:
    """A table under hairlines whose head is repeated on every page.

    Args:
        rows: cells as words (one line, not broken) or flowables.
        widths: column widths in points.
        right: columns set flush right.
    """
    head: list[Any] = [note(words) for words in headings]
    commands: list[tuple[Any, ...]] = [
        ("FONT", (0, 0), (-1, -1), look.REGULAR, look.SMALL, look.LEADING[look.SMALL]),
        ("TEXTCOLOR", (0, 0), (-1, -1), look.INK),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 8),
        ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 3),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
        ("LINEABOVE", (0, 0), (-1, 0), look.HAIRLINE, look.RULE),
        ("LINEBELOW", (0, 0), (-1, -1), look.HAIRLINE, look.RULE),
    ]
    commands += [("ALIGN", (column, 1), (column, -1), "RIGHT") for column in right]
    return Table(
        [head, *[list(row) for row in rows]],
        colWidths=list(widths),
        repeatRows=1,
        hAlign="LEFT",
        style=TableStyle(commands),
    )


def grid(*rows: Sequence[Sequence[Flowable]], widths: Sequence[float]) -> Table:
    """Flowables side by side on the grid, without lines."""
    return Table(
        [[list(cell) for cell in row] for row in rows],
        colWidths=list(widths),
        hAlign="LEFT",
        style=TableStyle(
            [
                # Without a font of ours the table would name one that is not embedded.
                ("FONT", (0, 0), (-1, -1), look.REGULAR, look.SMALL),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
            ]
        ),
    )


def stacked_height(story: Sequence[Flowable]) -> float:
    """Height in points that the flowables take in one column of the page's width."""
    shown = [one for one in story if not isinstance(one, CondPageBreak)]
    return sum(one.wrap(look.WIDTH, look.A4[1])[1] + one.getSpaceBefore() for one in shown)


def fit(words: str, width: float, *, size: float = look.SMALL, font: str = look.REGULAR) -> str:
    """The words, shortened with an ellipsis where they are wider than `width` points."""
    if look.text_width(words, size, font) <= width:
        return words
    shorter = words
    while shorter and look.text_width(shorter + "…", size, font) > width:
        shorter = shorter[:-1]
    return shorter.rstrip() + "…"


def contents(paper: Paper, pages: Mapping[str, int]) -> list[Flowable]:
    """The sections with links and page numbers, in two columns read downwards."""
    links = [
        (_link(one.key, one.title), _link(one.key, str(pages.get(one.key) or "00")))
        for one in paper.sections
        if not one.is_first
    ]
    half = (len(links) + 1) // 2
    rows = [
        [*left, "", *(links[half + i] if half + i < len(links) else ("", ""))]
        for i, left in enumerate(links[:half])
    ]
    number = 36.0
    widths = (look.span(3) - number, number, look.GUTTER, look.span(3) - number, number)
    found = table(("Contents", "Page", "", "", "Page"), rows, widths=widths)
    return [KeepTogether([gap(10), found])]


def _link(key: str, words: str) -> Paragraph:
    look.check_glyphs(words)
    return Paragraph(f'<a href="#{escape(key)}">{escape(words)}</a>', look.style(look.SMALL))
