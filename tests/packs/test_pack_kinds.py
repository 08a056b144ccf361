"""Every kind of document, what people recorded in it, and input that is bad or large."""

import io
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from pypdf import PdfReader
from pypdf.generic import Destination

from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.opening import command_actor, open_record
from qa.jobs.packs import choose_packs, issue_packs, make_packs
from qa.jobs.verify import verify_pack
from qa.model.errors import PackError
from qa.model.pack_request import PackKind, PackRequest
from qa.views.pack import RenderedPack, site_pack
from qa.views.paper_site import site_paper
from reports.pack import paper_pdf, render_pack
from tests.packs.conftest import LATER, MONTH, one_failed_exam_more, publish
from tests.pages.sample_published import SamplePublished

OPERATOR = "31"
FIRST = date(2025, 11, 1)


def squeezed(text: str) -> str:
    return "".join(text.split())


def pages_of(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def request_for(published: SamplePublished, kind: PackKind, **more: object) -> PackRequest:
    units = {PackKind.SITE: "S3", PackKind.OPERATOR: OPERATOR}
    first = FIRST if kind is PackKind.RECORD else None
    unit = units.get(kind, published.network.id)
    return replace(PackRequest(kind, unit, MONTH, first), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", [one for one in PackKind if one is not PackKind.ROUND])
def test_every_figure_is_printed_in_its_order(published: SamplePublished, kind: PackKind) -> None:
    pack = render_pack(published, request_for(published, kind), number=1)
    text = squeezed("".join(pages_of(pack.pdf)))
    assert pack.figures
    assert not [one.name for one in pack.figures if squeezed(one.text) not in text]


@pytest.mark.parametrize("kind", [PackKind.SITE, PackKind.RECORD])
def test_letter_paper_says_the_same(published: SamplePublished, kind: PackKind) -> None:
    wanted = request_for(published, kind)
    first, second = (
        render_pack(published, replace(wanted, sheet=one), number=1) for one in ("A4", "Letter")
    )
    assert first.figures == second.figures
    for pack, size in ((first, (595, 842)), (second, (612, 792))):
        box = PdfReader(io.BytesIO(pack.pdf)).pages[0].mediabox
        assert (round(box.width), round(box.height)) == size


def test_letter_to_an_operator_is_one_page(published: SamplePublished) -> None:
    pack = render_pack(published, request_for(published, PackKind.OPERATOR), number=1)
    (page,) = pages_of(pack.pdf)
    assert "Dear Operator 31," in page
    assert "page 1 of 1" in page


def test_contents_name_the_page_on_which_a_section_begins(published: SamplePublished) -> None:
    pack = render_pack(published, request_for(published, PackKind.NETWORK), number=1)
    reader = PdfReader(io.BytesIO(pack.pdf))
    first = squeezed("".join(page.extract_text() for page in reader.pages[:2]))
    for entry in reader.outline[1:]:
        assert isinstance(entry, Destination)
        number = reader.get_destination_page_number(entry)
        assert f"{squeezed(str(entry.title))}{(number or 0) + 1}" in first


@pytest.mark.parametrize(
    ("kind", "unit", "code"),
    [
        (PackKind.OPERATOR, "nobody", "PCK-010"),
        (PackKind.ROUND, "ROUND-0009", "PCK-011"),
        (PackKind.SITE, "S99", "PCK-001"),
    ],
)
def test_what_is_not_there_is_refused_in_words(
    published: SamplePublished, kind: PackKind, unit: str, code: str
) -> None:
    with pytest.raises(PackError, match=unit) as caught:
        render_pack(published, PackRequest(kind, unit, MONTH), number=1)
    assert caught.value.code == code
    assert caught.value.expected


def named(published: SamplePublished, name: str) -> SamplePublished:
    """The sample with another name of its third site."""
    sites = tuple(
        replace(one, name=name) if one.id == "S3" else one for one in published.network.sites
    )
    return replace(published, network=replace(published.network, sites=sites))


LATIN = "Łódź Ægir Þór Ŋŋ Šķēļš Øresund Ğıñ Ệ"
GREEK_AND_CYRILLIC = "Ηπατολογία Київ"


@pytest.mark.parametrize("name", [LATIN, GREEK_AND_CYRILLIC, ("Ångström " * 14)[:120]])
def test_names_in_latin_greek_and_cyrillic_are_set(published: SamplePublished, name: str) -> None:
    pack = render_pack(named(published, name), request_for(published, PackKind.SITE), number=1)
    reader = PdfReader(io.BytesIO(pack.pdf))
    assert squeezed(name)[:20] in squeezed(reader.pages[0].extract_text())
    assert reader.metadata is not None
    assert str(reader.metadata.title).startswith(name.strip()[:20])


@pytest.mark.parametrize("name", ["肝臓クリニック", "عيادة", "คลินิก", "Clinic 🏥"])
def test_letters_that_the_font_has_not_are_named(published: SamplePublished, name: str) -> None:
    with pytest.raises(PackError, match=r"U\+") as caught:
        render_pack(named(published, name), request_for(published, PackKind.SITE), number=1)
    assert caught.value.code == "PCK-009"
    assert "network.toml" in str(caught.value)


def test_three_hundred_operators_fill_pages_under_repeated_heads(
    published: SamplePublished,
) -> None:
    pack = site_pack(published, site_id="S3", month=MONTH)
    row = pack.site.operators[0]
    rows = tuple(replace(row, unit_id=f"x{i}", name=f"Operator x{i}") for i in range(300))
    many = replace(pack, site=replace(pack.site, operators=rows))
    wanted = PackRequest(PackKind.SITE, "S3", MONTH)
    paper = site_paper(many, None, request=wanted, number=1, software="0.1.0")
    only = replace(paper, sections=tuple(one for one in paper.sections if one.key == "operators"))
    pages = pages_of(paper_pdf(only))
    assert all(f"Operator x{i}" in "".join(pages) for i in range(300))
    full = [page for page in pages if "Operator x" in page]
    assert len(full) > 10
    assert all("Unreliable" in page for page in full)


# What people recorded


@pytest.fixture
def open_case(network_folder: Path):
    def opened(site_id: str, title: str) -> None:
        store = open_record(network_folder, environ={})
        desk = CaseDesk(store, command_actor("manager"), LATER)
        due = LATER.date() + timedelta(days=9)
        desk.open(title=title, owner="Lead", due_on=due, why="Seen in October", site_id=site_id)

    return opened


def issue(folder: Path) -> tuple[list[str], list[str]]:
    report = make_packs(folder, month=MONTH, site_id="S3", render=render_pack, environ={})
    return [one.stem for one in report.made], [one.stem for one in report.kept]


def test_a_decision_of_its_site_makes_a_new_issue_and_no_other_does(
    network_folder: Path, open_case
) -> None:
    assert issue(network_folder) == (["S3-2026-10-1"], [])
    open_case("S1", "A case elsewhere")
    assert issue(network_folder) == ([], ["S3-2026-10-1"])
    open_case("S3", "Wide spread at the third site")
    assert issue(network_folder) == (["S3-2026-10-2"], [])
    folder = network_folder / "packs" / "2026-10" / "S3"
    newest = "".join(pages_of((folder / "issue-2" / "S3-2026-10-2.pdf").read_bytes()))
    assert "Wide spread at the third site" in newest
    assert "A case elsewhere" not in newest
    for path in sorted(folder.rglob("*.pdf")):
        assert "agree" in list(verify_pack(path, render=render_pack, environ={}))[-1]


@pytest.mark.parametrize("kind", [PackKind.NETWORK, PackKind.OPERATOR, PackKind.RECORD])
def test_other_kinds_are_archived_and_verified(network_folder: Path, kind: PackKind) -> None:
    choose = choose_packs(
        kind,
        month=MONTH,
        site_id="S3" if kind is PackKind.RECORD else None,
        unit_id=OPERATOR if kind is PackKind.OPERATOR else None,
    )
    for expected in (1, 0):
        report = issue_packs(network_folder, choose=choose, render=render_pack, environ={})
        assert len(report.made) == expected
    (path,) = report.kept
    assert path.is_relative_to(network_folder / "packs" / "2026-10" / str(kind))
    assert "agree" in list(verify_pack(path, render=render_pack, environ={}))[-1]


def test_an_earlier_month_told_otherwise_is_restated(
    network_folder: Path, published: SamplePublished
) -> None:
    before = date(2026, 9, 1)
    make_packs(network_folder, month=before, site_id="S3", render=render_pack, environ={})
    changed = one_failed_exam_more(published, "S3", before)
    publish(network_folder, changed, at=LATER)
    report = make_packs(network_folder, month=MONTH, site_id="S3", render=render_pack, environ={})
    text = squeezed("".join(pages_of(report.made[0].read_bytes())))
    assert "Earliermonthsrestated1earlierpackcompared;thesefiguresareothersnow." in text
    assert "September2026S3-2026-09-1failedexams" in text


def test_pack_says_what_is_asked_by_when(published: SamplePublished) -> None:
    pack: RenderedPack = render_pack(published, request_for(published, PackKind.SITE), number=1)
    # Evidence of October is due by the end of November (qa/followup/facts.py, a proposal).
    assert "2026-11-30" in pages_of(pack.pdf)[0]
