"""Packs as PDFs with their manifests, from one snapshot."""

from datetime import date
from functools import cache
from importlib.metadata import version

from reportlab.platypus import Flowable

from qa.model.published import Published
from qa.views.pack import RenderedPack, site_pack
from qa.views.pack_facts import PackFacts
from qa.views.paper import Contents, Paper, paper_figures
from qa.views.paper_site import site_paper
from reports import look
from reports.blocks import story_of
from reports.manifest import make_manifest
from reports.page import build_pdf
from reports.parts import Bookmark


@cache
def software_version() -> str:
    return version("elastography-qa")


def render_site_pack(
    published: Published,
    *,
    site_id: str,
    month: date,
    number: int,
    facts: PackFacts | None = None,
    sheet: str = "A4",
) -> RenderedPack:
    """Draw one site's pack.

    Args:
        month: its first day.
        number: 1 for the first issue, the next for each re-issue; stands in the pack.
        facts: what people recorded about the site; None: the network keeps no record.
        sheet: a name of look.SHEETS.
    Returns: PDF, manifest and figures; the same snapshot, facts and number give the same bytes.
    Raises: PackError: the site is not in the network, or no site has exams in the month.
    """
    pack = site_pack(published, site_id=site_id, month=month, facts=facts)
    name = f"{site_id}-{month:%Y-%m}-{number}"
    paper = site_paper(pack, facts, name=name, software=software_version())
    figures = paper_figures(paper)
    pdf = paper_pdf(paper, sheet=sheet)
    manifest = make_manifest(
        pack, figures=figures, pdf=pdf, number=number, software=software_version()
    )
    return RenderedPack(pdf, manifest, figures)


def paper_pdf(paper: Paper, *, sheet: str = "A4") -> bytes:
    """A document as PDF; one with contents is laid out twice, to know its pages.

    Raises: PackError: a word has letters that the font has not.
    """
    size = look.SHEETS[sheet]
    story = story_of(paper, size, pages={})
    marks = _bookmarks(story)
    pdf = build_pdf(story, paper, size)
    if not _has_contents(paper):
        return pdf
    pages = {mark.key: mark.page for mark in marks}
    return build_pdf(story_of(paper, size, pages=pages), paper, size)


def _has_contents(paper: Paper) -> bool:
    return any(isinstance(block, Contents) for one in paper.sections for block in one.blocks)


def _bookmarks(story: list[Flowable]) -> list[Bookmark]:
    """Bookmarks on their own and in the heads of sections."""
    found = []
    for one in story:
        if isinstance(one, Bookmark):
            found.append(one)
        elif hasattr(one, "bookmark"):
            found.append(one.bookmark)
    return found
