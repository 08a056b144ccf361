"""The part of a re-issued pack that says what it replaces, why, and what is different."""

from dataclasses import replace

from qa.model.reissue import Replaced
from qa.views import words
from qa.views.paper import Look, Paper, Para, Section

TITLE = "Why there is a new issue"
CHANGES_TOLD = 20


def with_replaced(paper: Paper, replaced: Replaced | None) -> Paper:
    """The document with that part after its first; None: a first issue, nothing is added."""
    if replaced is None:
        return paper
    first, *rest = paper.sections
    return replace(paper, sections=(first, _section(replaced), *rest))


def _section(replaced: Replaced) -> Section:
    lead = (
        f"This issue replaces issue {replaced.number} (SHA-256 {replaced.sha256[:12]}…), which "
        f"stays in the archive as it is. Why: {replaced.reason.rstrip('.')}."
    )
    told = [Para(f"· {one}", Look.SMALL) for one in replaced.changed[:CHANGES_TOLD]]
    more = len(replaced.changed) - CHANGES_TOLD
    if more > 0:
        told.append(
            Para(f"And {words.counted(more, 'more change')}; see the manifest.", Look.SMALL)
        )
    return Section("reissue", TITLE, (Para(lead), *told))
