"""Any document by its request, from one published snapshot and what people recorded."""

from collections.abc import Callable

from qa.model.pack_request import PackKind, PackRequest
from qa.model.published import Published
from qa.views.pack import site_pack
from qa.views.pack_facts import PackFacts
from qa.views.paper import Paper
from qa.views.paper_network import network_paper
from qa.views.paper_operator import operator_paper
from qa.views.paper_record import record_paper
from qa.views.paper_round import round_paper
from qa.views.paper_site import site_paper

Write = Callable[[Published, PackRequest, PackFacts | None, int, str], Paper]


def _site(
    published: Published, request: PackRequest, facts: PackFacts | None, number: int, software: str
) -> Paper:
    pack = site_pack(published, site_id=request.unit_id, month=request.month, facts=facts)
    return site_paper(pack, facts, request=request, number=number, software=software)


WRITERS: dict[PackKind, Write] = {
    PackKind.SITE: _site,
    PackKind.NETWORK: network_paper,
    PackKind.OPERATOR: operator_paper,
    PackKind.ROUND: round_paper,
    PackKind.RECORD: record_paper,
}


def write_paper(
    published: Published,
    request: PackRequest,
    *,
    facts: PackFacts | None,
    number: int,
    software: str,
) -> Paper:
    """Everything that a document says.

    Args:
        facts: what people recorded; None: the network keeps no record, and the document says so.
        number: of the issue; 0 for what is only looked at.
        software: version that draws it.
    Raises: PackError: there is no such site, operator, round or month.
    """
    return WRITERS[request.kind](published, request, facts, number, software)
