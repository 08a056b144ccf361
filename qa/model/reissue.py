"""What a pack that replaces an earlier one says of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Replaced:
    """The issue before, why there is a new one, and what is different in it.

    Args:
        sha256: of the PDF of the issue before.
        changed: sentences, one for each change; the first CHANGES_TOLD stand in the pack.
    """

    number: int
    sha256: str
    reason: str
    changed: tuple[str, ...]

    @property
    def plain(self) -> dict[str, Any]:
        """As a manifest holds it."""
        return {
            "number": self.number,
            "pdf_sha256": self.sha256,
            "reason": self.reason,
            "changed": list(self.changed),
        }


def replaced_of(manifest: Mapping[str, Any]) -> Replaced | None:
    """What a manifest says of the issue before; None: it is a first issue, or an older format."""
    found = manifest.get("replaces")
    if not found:
        return None
    changed = tuple(str(one) for one in found["changed"])
    return Replaced(int(found["number"]), str(found["pdf_sha256"]), str(found["reason"]), changed)
