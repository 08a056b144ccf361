"""The manifest beside a pack: every figure printed, what it was made from, and digests."""

import hashlib
from collections.abc import Sequence
from typing import Any

from qa.model.sealed import seal
from qa.views.pack_facts import PackFacts, documents_in_force
from qa.views.pack_record import RuleSet
from qa.views.paper import Paper
from qa.views.shown import Figure

FORMAT = "elastography-qa pack manifest"
FORMAT_VERSION = 2
"""2: the record, the trail's head, documents, the size of the PDF, what an issue replaces."""


def make_manifest(
    paper: Paper,
    facts: PackFacts | None,
    *,
    figures: Sequence[Figure],
    pdf: bytes,
    number: int,
    software: str,
) -> bytes:
    """The sealed manifest of one pack as JSON.

    Args:
        facts: what people recorded, as the pack shows it; None: no record was looked at.
        figures: in the order of printing.
        pdf: the pack's final bytes.
        software: version that drew the pack.
    Returns: UTF-8 JSON that ends with the SHA-256 of its own content (qa.model.sealed).
    """
    made, request = paper.made, paper.request
    content: dict[str, Any] = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "kind": str(request.kind),
        "network_id": made.network_id,
        "is_invented": paper.is_invented,
        "site_id": request.unit_id,
        "month": f"{request.month:%Y-%m}",
        "from_month": f"{request.from_month:%Y-%m}" if request.from_month else None,
        "paper": request.sheet,
        "number": number,
        "snapshot_id": made.snapshot_id,
        "snapshot_published_at": made.published_at.isoformat(),
        "snapshot_software_version": made.software_version,
        "software_version": software,
        "record_known_at": facts.known_at.isoformat() if facts else None,
        "trail_head": facts.head if facts else None,
        "criteria_id": paper.criteria_id,
        "criteria": [_rules(one) for one in made.criteria],
        "grade_tables": [_rules(one) for one in made.grade_tables],
        "documents": [
            {"id": document_id, "fingerprint": fingerprint}
            for document_id, fingerprint in documents_in_force(facts, month=request.month)
        ],
        "source_files": [
            {"name": one.name, "sha256": one.sha256, "state": one.state} for one in made.files
        ],
        "figures": [figure_entry(figure) for figure in figures],
        "pdf_sha256": hashlib.sha256(pdf).hexdigest(),
    }
    return seal(content)


def figure_entry(figure: Figure) -> dict[str, Any]:
    """One figure as the manifest holds it."""
    return {
        "name": figure.name,
        "label": figure.label,
        "text": figure.text,
        "interval": figure.interval_text,
        "value": figure.value,
        "n": figure.n,
    }


def _rules(rules: RuleSet) -> dict[str, str]:
    return {
        "id": rules.id,
        "fingerprint": rules.fingerprint,
        "source": rules.source,
        "confidence": rules.confidence,
    }
