"""Packs as PDFs with their manifests, from one snapshot."""

from functools import cache
from importlib.metadata import version

from reportlab.platypus import Flowable

from qa.model.pack_request import PackRequest
from qa.model.published import Published
from qa.model.reissue import Replaced
from qa.views.pack import RenderedPack
from qa.views.pack_facts import PackFacts
from qa.views.paper import Contents, Paper, paper_figures
from qa.views.paper_reissue import with_replaced
from qa.views.papers import write_paper
from reports import look
from reports.blocks import story_of
from reports.manifest import make_manifest
from reports.page import build_pdf
from reports.parts import Bookmark


@cache
def software_version() -> str:
    return version("elastography-qa")


def render_pack(
    published: Published,
    request: PackRequest,
    *,
    number: int,
    facts: PackFacts | None = None,
    replaced: Replaced | None = None,
) -> RenderedPack:
    """Draw one document.

    Args:
        number: 1 for the first issue, the next for each re-issue; stands in the pack.
        facts: what people recorded; None: the network keeps no record.
        replaced: the issue before, why and what changed; None: a first issue.
    Returns: PDF, manifest and figures; the same snapshot, facts and number give the same bytes.
    Raises: PackError: there is no such site, operator, round or month; a name has letters that
        the font has not.
    """
    software = software_version()
    paper = with_replaced(
        write_paper(published, request, facts=facts, number=number, software=software), replaced
    )
    figures = paper_figures(paper)
    pdf = paper_pdf(paper)
    manifest = make_manifest(
        paper, facts, figures=figures, pdf=pdf, number=number, software=software
    )
    return RenderedPack(pdf, manifest, figures)


def paper_pdf(paper: Paper) -> bytes:
    """A document as PDF; one with contents is laid out twice, to know its pages.

    Raises: PackError: a word has letters that the font has not.
    """
    sheet = look.SHEETS[paper.request.sheet]
    story = story_of(paper, sheet, pages={})
    marks = _bookmarks(story)
    pdf = build_pdf(story, paper, sheet)
    if not _has_contents(paper):
        return pdf
    pages = {mark.key: mark.page for mark in marks}
    return build_pdf(story_of(paper, sheet, pages=pages), paper, sheet)


def _has_contents(paper: Paper) -> bool:
    return any(isinstance(block, Contents) for one in paper.sections for block in one.blocks)


def _bookmarks(story: list[Flowable]) -> list[Bookmark]:
    """Bookmarks on their own and in the heads of sections."""
    alone = [one for one in story if isinstance(one, Bookmark)]
    return alone + [one.bookmark for one in story if hasattr(one, "bookmark")]
