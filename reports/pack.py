"""A site's monthly pack as a PDF with its manifest, from one snapshot."""

from datetime import date
from functools import cache
from importlib.metadata import version

from reportlab.platypus import Flowable

from qa.model.published import Published
from qa.views.pack import RenderedPack, SitePack, site_pack
from qa.views.pack_figures import pack_figures
from reports.manifest import make_manifest
from reports.page import PageWords, build_pdf
from reports.parts import PageTwo
from reports.sections.cautions import caution_section
from reports.sections.charts import chart_section
from reports.sections.exams import exam_section
from reports.sections.grades import grade_section
from reports.sections.methods import method_section
from reports.sections.operators import operator_section
from reports.sections.provenance import provenance_section
from reports.sections.repeats import repeat_section
from reports.sections.summary import summary_section

INVENTED = "invented demo data"


@cache
def software_version() -> str:
    return version("elastography-qa")


def render_site_pack(
    published: Published, *, site_id: str, month: date, number: int
) -> RenderedPack:
    """Draw one site's pack.

    Args:
        month: its first day.
        number: 1 for the first issue, the next for each re-issue; stands in the pack.
    Returns: PDF, manifest and figures; the same snapshot and number give the same bytes.
    Raises: PackError: the site is not in the network, or no site has exams in the month.
    """
    pack = site_pack(published, site_id=site_id, month=month)
    name = f"{site_id}-{month:%Y-%m}-{number}"
    figures = pack_figures(pack)
    pdf = build_pdf(site_story(pack, name=name), _page_words(pack, name))
    manifest = make_manifest(
        pack, figures=figures, pdf=pdf, number=number, software=software_version()
    )
    return RenderedPack(pdf, manifest, figures)


def site_story(pack: SitePack, *, name: str) -> list[Flowable]:
    """The sections in their order; pack_figures follows the same order."""
    return [
        *summary_section(pack),
        PageTwo(),
        *chart_section(pack),
        *operator_section(pack),
        *repeat_section(pack),
        *grade_section(pack),
        *exam_section(pack),
        *method_section(pack),
        *caution_section(),
        *provenance_section(pack, pack_name=name, software=software_version()),
    ]


def _page_words(pack: SitePack, name: str) -> PageWords:
    site = pack.site
    network = pack.network_name
    if pack.is_invented:
        network = f"{network.removesuffix(' (invented)')} · {INVENTED}"
    return PageWords(
        title=f"{site.site_name}, {site.month_text}: audit pack {name}",
        subject=site.answer,
        author=network,
        left=f"{site.site_name} · {site.month_text}",
        right=network,
        pack_name=f"Pack {name}",
        stamp=pack.provenance.published_at,
    )
