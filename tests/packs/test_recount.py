"""Figures of the demo's packs, read from the PDF by pypdf, against a count from raw export files.

tests/packs/recount.py imports nothing of the program. Wilson 1927, formula typed here.
"""

import json
import math
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.packs.recount import (
    FAILED,
    INCOMPLETE,
    RELIABLE,
    UNRELIABLE,
    Counted,
    count_operators,
    count_site,
)

MONTH = "2026-10"
Z = 1.959963984540054
"""97.5 % point of the normal distribution, from tables."""
SHARES = {
    "MSR-001": (UNRELIABLE, (RELIABLE, UNRELIABLE)),
    "MSR-002": (INCOMPLETE, (RELIABLE, UNRELIABLE, INCOMPLETE, FAILED)),
    "MSR-003": (FAILED, (RELIABLE, UNRELIABLE, INCOMPLETE, FAILED)),
    "MSR-004": (RELIABLE, (RELIABLE, UNRELIABLE, INCOMPLETE, FAILED)),
}
PAGE_ONE = {
    "MSR-001": "unreliable exams",
    "MSR-003": "failed exams",
    "MSR-004": "reliable exams",
}
SITES = (
    *("alder-sound", "bracken-hill", "cowrie-bay", "dunlin-quay", "eider-point", "fulmar-cross"),
    *("gannet-lane", "heron-mill", "ivory-steps", "kelp-strand", "linnet-row", "merlin-court"),
)


def squeezed(text: str) -> str:
    return "".join(text.split())


def wilson(k: int, n: int) -> tuple[float, float]:
    middle = (k + Z * Z / 2) / (n + Z * Z)
    half = Z / (n + Z * Z) * math.sqrt(k * (n - k) / n + Z * Z / 4)
    return (middle - half if k else 0.0), (middle + half if k < n else 1.0)


def share_of(counted: Counted, measure: str) -> tuple[int, int]:
    top, below = SHARES[measure]
    return counted.n(top), sum(counted.n(one) for one in below)


def told(k: int, n: int, *, label: str = "") -> str:
    """As the pack prints a share with its interval and n; label: what stands between them."""
    low, high = wilson(k, n)
    ends = f"{shown(low)} to {shown(high)}"
    return squeezed(f"{shown(k / n)} % {label} {ends} n = {n:,}")


def shown(share: float) -> str:
    """Percent to one decimal; to two where it is under 0.1 and not nothing."""
    percent = 100 * share
    return f"{percent:.2f}" if 0 < percent < 0.1 else f"{percent:.1f}"


@pytest.mark.parametrize("site_id", SITES)
def test_printed_figures_equal_a_count_from_raw_files(published_demo: Path, site_id: str) -> None:
    whole, by_operator = count_site(published_demo, site_id, MONTH)
    pdf = next((published_demo / "packs" / MONTH / site_id / "issue-1").glob("*.pdf"))
    pages = [squeezed(page.extract_text()) for page in PdfReader(pdf).pages]
    text = "".join(pages)
    if not whole.judged:
        assert "hassentnoexams" in pages[0]
        return
    assert f"{whole.judged:,}examsjudged" in pages[0]
    for measure, label in PAGE_ONE.items():
        assert told(*share_of(whole, measure), label=label) in pages[0], measure
    n_cells = 0
    for operator in by_operator:
        counted = count_operators(published_demo, MONTH)[operator]
        for measure in ("MSR-001", "MSR-002", "MSR-003"):
            k, n = share_of(counted, measure)
            if n:
                assert told(k, n) in text, (operator, measure, k, n)
                n_cells += 1
    assert n_cells >= 2 * len(by_operator)


@pytest.mark.parametrize("site_id", SITES)
def test_stated_figures_equal_a_count_from_raw_files(published_demo: Path, site_id: str) -> None:
    whole, by_operator = count_site(published_demo, site_id, MONTH)
    folder = published_demo / "packs" / MONTH / site_id / "issue-1"
    figures = json.loads(next(folder.glob("*.json")).read_text(encoding="utf-8"))["figures"]
    found = {one["name"]: one for one in figures}
    assert found["n_judged"]["value"] == whole.judged
    wanted = {f"site.{site_id}.{one}.value": share_of(whole, one) for one in SHARES}
    for operator in by_operator:
        counted = count_operators(published_demo, MONTH)[operator]
        wanted |= {f"operator.{operator}.{m}.cell": share_of(counted, m) for m in SHARES}
    compared = [(found[name], share) for name, share in wanted.items() if name in found]
    assert len(compared) >= (2 if whole.judged else 0)
    for figure, (k, n) in compared:
        assert (figure["n"], figure["value"]) == (n, pytest.approx(k / n)), figure["name"]
