"""The manifest beside a pack: every figure printed, what it was made from, and digests."""

import hashlib
from collections.abc import Sequence
from typing import Any

from qa.model.sealed import seal
from qa.views.pack import SitePack
from qa.views.pack_record import RuleSet
from qa.views.shown import Figure

FORMAT = "elastography-qa pack manifest"
FORMAT_VERSION = 1


def make_manifest(
    pack: SitePack, *, figures: Sequence[Figure], pdf: bytes, number: int, software: str
) -> bytes:
    """The sealed manifest of one pack as JSON.

    Args:
        figures: in the order of printing.
        pdf: the pack's final bytes.
        software: version that drew the pack.
    Returns: UTF-8 JSON that ends with the SHA-256 of its own content (qa.model.sealed).
    """
    made = pack.provenance
    content: dict[str, Any] = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "kind": "site",
        "network_id": made.network_id,
        "is_invented": pack.network.is_invented,
        "site_id": pack.site.site_id,
        "month": f"{pack.site.month:%Y-%m}",
        "number": number,
        "snapshot_id": made.snapshot_id,
        "snapshot_published_at": made.published_at.isoformat(),
        "snapshot_software_version": made.software_version,
        "software_version": software,
        "criteria_id": pack.site.criteria_id,
        "criteria": [_rules(one) for one in made.criteria],
        "grade_tables": [_rules(one) for one in made.grade_tables],
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
