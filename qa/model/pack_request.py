"""What pack is meant: its kind, whom it is about, and its month or months."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class PackKind(StrEnum):
    """What is issued; the word stands in file names and manifests."""

    SITE = "site"
    NETWORK = "network"
    OPERATOR = "operator"
    ROUND = "round"
    RECORD = "record"


@dataclass(frozen=True)
class PackRequest:
    """One document to make.

    Args:
        unit_id: a site, the network, an operator or a round; of a record, a site or the network.
        month: the month, or the last of several; its first day.
        from_month: the first month of a record; None for the others.
        sheet: size of paper, "A4" or "Letter".
    """

    kind: PackKind
    unit_id: str
    month: date
    from_month: date | None = None
    sheet: str = "A4"

    @property
    def key(self) -> str:
        """Its place in the archive below the month. Example: 'eider-point', 'operator/op-31'"""
        if self.kind is PackKind.SITE:
            return self.unit_id
        first = f"-from-{self.from_month:%Y-%m}" if self.from_month else ""
        return f"{self.kind}/{self.unit_id}{first}"

    def name(self, number: int) -> str:
        """Example: 'eider-point-2026-10-1', 'operator-op-31-2026-10-1'"""
        return pack_name(self.key, self.month, number)


def pack_name(key: str, month: date, number: int) -> str:
    """Name of an issue without its ending.

    Example: 'operator/op-31', issue 1 → 'operator-op-31-2026-10-1'
    """
    return f"{key.replace('/', '-')}-{month:%Y-%m}-{number}"
