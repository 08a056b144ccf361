"""The page of a pack says what the PDF says, to whoever may read it."""

from datetime import UTC, datetime

import pytest

from dashboard.addresses import Page
from dashboard.app import render
from qa.jobs.followup.cases import CaseDesk
from qa.model.pack_request import PackKind, PackRequest
from qa.model.permissions import Actor, Role
from qa.stores.followup.store import FollowupStore
from qa.views.paper import paper_figures
from qa.views.papers import write_paper
from tests.followup.sample_archive import sample_archive
from tests.pages import test_case_pages
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import LEAD
from tests.pages.walk import text

store = test_case_pages.store
AT = datetime(2026, 12, 4, 9, tzinfo=UTC)
MANAGER = Actor("manager", "The manager", (Role.QA_MANAGER,))


def squeezed(words: str) -> str:
    return "".join(words.split())


@pytest.fixture
def show(store: FollowupStore):
    def shown(actor: Actor = MANAGER, **query: str):
        desk = CaseDesk(store, actor, AT, sample_archive())
        return render(Page.PACK, sample_published, query, make_desk=lambda: desk)

    return shown


@pytest.mark.parametrize(
    ("kind", "unit"), [(PackKind.SITE, "S3"), (PackKind.NETWORK, "sample"), (PackKind.RECORD, "S3")]
)
def test_page_says_every_figure_of_the_pack(show, kind: PackKind, unit: str) -> None:
    published = sample_published()
    network = published.network.id
    month = datetime(2026, 10, 1).date()
    first = datetime(2025, 11, 1).date() if kind is PackKind.RECORD else None
    request = PackRequest(kind, network if kind is PackKind.NETWORK else unit, month, first)
    paper = write_paper(published, request, facts=None, number=0, software="0.1.0")
    page = squeezed(text(show(site="S3", month="2026-10", kind=str(kind))))
    missing = [
        one.name
        for one in paper_figures(paper)
        if squeezed(one.text) not in page and not one.name.startswith(("cases", "requirements"))
    ]
    assert not missing


def test_lead_reads_her_own_site_and_no_other(show) -> None:
    own, other = LEAD.sites[0], "S1" if LEAD.sites[0] != "S1" else "S2"
    assert "What changed" in text(show(LEAD, site=own, month="2026-10"))
    for query in ({"site": other}, {"kind": "network"}, {"kind": "record"}):
        said = text(show(LEAD, month="2026-10", **query))
        assert "What changed" not in said or own in query.values()


@pytest.mark.parametrize("query", [{"kind": "round"}, {"kind": "operator", "operator": ""}])
def test_what_is_not_there_is_said_in_words(show, query: dict[str, str]) -> None:
    assert "There is no such pack." in text(show(month="2026-10", **query))
