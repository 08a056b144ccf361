"""The page: header, footer, page x of y, and a canvas whose bytes depend on the snapshot only."""

import hashlib
import io
from collections.abc import Sequence
from datetime import UTC
from types import SimpleNamespace
from typing import Any

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from qa.model.definitions import CAUTION
from qa.views.paper import Paper
from reports import look
from reports.parts import fit, note


class PackCanvas(Canvas):
    """A canvas that numbers its pages when all are known, and takes its time from the snapshot."""

    def __init__(self, *args: Any, paper: Paper, sheet: look.Sheet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._sheet = sheet
        self._pages: list[Any] = []
        at = paper.stamp.astimezone(UTC)
        self._doc._timeStamp = SimpleNamespace(
            t=at.timestamp(), YMDhms=at.timetuple()[:6], dhh=0, dmm=0, tzname="UTC"
        )
        # The file's id starts from the pack, not from the environment's clock.
        self._doc.signature = hashlib.md5(paper.name.encode(), usedforsecurity=False)

    def showPage(self) -> None:
        name = self._doc.thisPageName()
        super().showPage()
        self._pages.append(self._doc.idToObject[name])

    def save(self) -> None:
        """Add 'page x of y' to each page's content, then write the file."""
        for number, page in enumerate(self._pages, start=1):
            self._code: list[str] = []
            self.init_graphics_state()
            _draw_page_number(self, self._sheet, f"page {number} of {len(self._pages)}")
            page.stream += "\n".join(self._code) + "\n"
        self._code = []
        super().save()


def _draw_page_number(canvas: Canvas, sheet: look.Sheet, words: str) -> None:
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    canvas.drawRightString(sheet.width - sheet.margin, look.LAST_LINE_Y, words)


def build_pdf(story: Sequence[Flowable], paper: Paper, sheet: look.Sheet) -> bytes:
    """Lay out the story.

    Returns: the PDF; equal story and paper give equal bytes in any process.
    Raises: PackError: a name on every page has letters that the font has not.
    """
    look.register_fonts()
    for line in (paper.left, paper.right, paper.name):
        look.check_glyphs(line)
    target = io.BytesIO()

    def make_canvas(*args: Any, **kwargs: Any) -> PackCanvas:
        canvas = PackCanvas(*args, paper=paper, sheet=sheet, **kwargs)
        canvas.showOutline()
        return canvas

    _template(target, paper, sheet).build(list(story), canvasmaker=make_canvas)
    return target.getvalue()


def _template(target: io.BytesIO, paper: Paper, sheet: look.Sheet) -> BaseDocTemplate:
    """One column, furnished alike on every page."""
    frame = Frame(sheet.margin, look.BOTTOM, look.WIDTH, sheet.top - look.BOTTOM, 0, 0, 0, 0)

    def furnish(canvas: Canvas, document: BaseDocTemplate) -> None:
        _draw_furniture(canvas, paper, sheet)

    return BaseDocTemplate(
        target,
        pagesize=(sheet.width, sheet.height),
        pageTemplates=[PageTemplate("page", [frame], onPage=furnish)],
        title=paper.title,
        subject=paper.subject,
        author=paper.author,
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


def _draw_furniture(canvas: Canvas, paper: Paper, sheet: look.Sheet) -> None:
    """Header: site, month, network. Footer: the caution and the pack's name."""
    right_edge = sheet.width - sheet.margin
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    canvas.drawString(sheet.margin, sheet.header_y, fit(paper.left, look.span(3)))
    canvas.drawRightString(right_edge, sheet.header_y, fit(paper.right, look.span(3)))
    canvas.setStrokeColor(look.RULE)
    canvas.setLineWidth(look.HAIRLINE)
    canvas.line(sheet.margin, sheet.header_y - 10, right_edge, sheet.header_y - 10)
    caution = note(CAUTION)
    _, height = caution.wrap(look.WIDTH, 100)
    caution.drawOn(canvas, sheet.margin, look.FOOTER_Y - height)
    canvas.setFont(look.REGULAR, look.SMALL)
    canvas.setFillColor(look.MUTED)
    canvas.drawString(sheet.margin, look.LAST_LINE_Y, fit(f"Pack {paper.name}", look.span(4)))
