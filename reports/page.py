"""The page: header, footer, page x of y, and a canvas whose bytes depend on the snapshot only."""

import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from qa.model.definitions import CAUTION
from reports import look
from reports.parts import fit, note


@dataclass(frozen=True)
class PageWords:
    """What stands on every page, and in the document's properties."""

    title: str
    subject: str
    author: str
    left: str
    right: str
    pack_name: str
    stamp: datetime


class PackCanvas(Canvas):
    """A canvas that numbers its pages when all are known, and takes its time from the snapshot."""

    def __init__(self, *args: Any, words: PageWords, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._words = words
        self._pages: list[Any] = []
        at = words.stamp.astimezone(UTC)
        self._doc._timeStamp = SimpleNamespace(
            t=at.timestamp(), YMDhms=at.timetuple()[:6], dhh=0, dmm=0, tzname="UTC"
        )
        # The file's id starts from the pack, not from the environment's clock.
        self._doc.signature = hashlib.md5(words.pack_name.encode(), usedforsecurity=False)

    def showPage(self) -> None:
        name = self._doc.thisPageName()
        super().showPage()
        self._pages.append(self._doc.idToObject[name])

    def save(self) -> None:
        """Add 'page x of y' to each page's content, then write the file."""
        for number, page in enumerate(self._pages, start=1):
            self._code: list[str] = []
            self.init_graphics_state()
            _draw_page_number(self, f"page {number} of {len(self._pages)}")
            page.stream += "\n".join(self._code) + "\n"
        self._code = []
        super().save()


def _draw_page_number(canvas: Canvas, words: str) -> None:
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    canvas.drawRightString(look.PAGE_WIDTH - look.MARGIN, look.LAST_LINE_Y, words)


def build_pdf(story: Sequence[Flowable], words: PageWords) -> bytes:
    """Lay out the story on A4 pages.

    Returns: the PDF; equal story and words give equal bytes in any process.
    Raises: PackError: a name on every page has letters that the font has not.
    """
    look.register_fonts()
    for line in (words.left, words.right, words.pack_name):
        look.check_glyphs(line)
    target = io.BytesIO()

    def make_canvas(*args: Any, **kwargs: Any) -> PackCanvas:
        canvas = PackCanvas(*args, words=words, **kwargs)
        canvas.showOutline()
        return canvas

    _template(target, words).build(list(story), canvasmaker=make_canvas)
    return target.getvalue()


def _template(target: io.BytesIO, words: PageWords) -> BaseDocTemplate:
    """One column on A4, furnished alike on every page."""
    frame = Frame(look.MARGIN, look.BOTTOM, look.WIDTH, look.TOP - look.BOTTOM, 0, 0, 0, 0)

    def furnish(canvas: Canvas, document: BaseDocTemplate) -> None:
        _draw_furniture(canvas, words)

    return BaseDocTemplate(
        target,
        pagesize=(look.PAGE_WIDTH, look.PAGE_HEIGHT),
        pageTemplates=[PageTemplate("page", [frame], onPage=furnish)],
        title=words.title,
        subject=words.subject,
        author=words.author,
        creator="elastography-qa",
        producer="elastography-qa",
        keywords=[],
        lang="en-GB",
        displayDocTitle=True,
        initialFontName=look.REGULAR,
        initialFontSize=look.BODY,
        invariant=1,
        pageCompression=1,
    )


def _draw_furniture(canvas: Canvas, words: PageWords) -> None:
    """Header: site, month, network. Footer: the caution and the pack's name."""
    right_edge = look.PAGE_WIDTH - look.MARGIN
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    canvas.drawString(look.MARGIN, look.HEADER_Y, fit(words.left, look.span(3)))
    canvas.drawRightString(right_edge, look.HEADER_Y, fit(words.right, look.span(3)))
    canvas.setStrokeColor(look.RULE)
    canvas.setLineWidth(look.HAIRLINE)
    canvas.line(look.MARGIN, look.HEADER_Y - 10, right_edge, look.HEADER_Y - 10)
    caution = note(CAUTION)
    _, height = caution.wrap(look.WIDTH, 100)
    caution.drawOn(canvas, look.MARGIN, look.FOOTER_Y - height)
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    canvas.drawString(look.MARGIN, look.LAST_LINE_Y, fit(words.pack_name, look.span(4)))
