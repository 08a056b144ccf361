"""The invented network's own approvals, so that its documents are under control from the start."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from qa.jobs.followup.documents import DocumentDesk
from qa.jobs.followup.drafts import draft_of_definition, find_definition
from qa.jobs.followup.opening import open_record
from qa.model.document_words import DocumentKind
from qa.model.permissions import Actor, Role
from qa.stores.settings import load_network

PROPOSER = Actor("demo-manager", "Invented QA manager", (Role.QA_MANAGER,))
APPROVER = Actor("demo-approver", "Invented second QA manager", (Role.QA_MANAGER,))


def approve_demo(folder: Path, environ: Mapping[str, str], *, at: datetime) -> None:
    """Propose and approve the criteria sets of a demo's network.toml; what is there stays.

    Two invented people do it, since the rule of four eyes holds for the demo too.
    """
    network = load_network(folder)
    store = open_record(folder, environ=environ)
    try:
        known = {one.document_id for one in DocumentDesk(store, PROPOSER, at).documents()}
        for in_force in network.criteria:
            if in_force.id in known:
                continue
            kind = DocumentKind.CRITERIA
            text, _ = find_definition(kind, in_force.id)
            draft = draft_of_definition(kind, text, where=in_force.id)
            DocumentDesk(store, PROPOSER, at).propose(
                draft, from_day=in_force.from_day, changes="First set of this invented network"
            )
            DocumentDesk(store, APPROVER, at).approve(draft.document_id)
    finally:
        store.close()
