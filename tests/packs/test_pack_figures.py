"""Figures printed, against plain recounts of the sample's counts; intervals by statsmodels."""

import io
import re

import pytest
from pypdf import PdfReader
from statsmodels.stats.proportion import proportion_confint

from qa.model.pack_request import PackKind, PackRequest
from qa.views.pack import RenderedPack
from reports import look
from reports.pack import render_pack
from tests.packs.conftest import MONTH
from tests.pages.sample_published import SamplePublished

SITE = "S3"


@pytest.fixture(scope="module")
def pack(published: SamplePublished) -> RenderedPack:
    return render_pack(published, PackRequest(PackKind.SITE, SITE, MONTH), number=1)


@pytest.fixture(scope="module")
def pages(pack: RenderedPack) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pack.pdf)).pages]


def rate_text(n_events: int, n: int) -> tuple[str, str]:
    """Share and Wilson 95 % interval as words; the interval by statsmodels."""
    low, high = proportion_confint(n_events, n, alpha=0.05, method="wilson")
    return f"{100 * n_events / n:.1f} %", f"{100 * low:.1f} to {100 * high:.1f}"


def test_every_operator_cell_equals_a_plain_recount(
    pack: RenderedPack, published: SamplePublished
) -> None:
    cells = {f.name: f for f in pack.figures if f.name.endswith(".cell")}
    watched = [m for m in published.definitions.measures.values() if m.is_watched]
    rows = published.frame("monthly_counts", site_id=SITE, month=MONTH).to_dicts()
    assert len(rows) == 3
    assert len(cells) == len(rows) * len(watched)
    for row in rows:
        for measure in watched:
            figure = cells[f"operator.{row['operator_id']}.{measure.id}.cell"]
            n = sum(row[column] for column in measure.denominator)
            n_events = sum(row[column] for column in measure.numerator)
            assert (figure.text, figure.interval_text) == rate_text(n_events, n)
            assert figure.n == n


def test_grade_figures_equal_a_plain_recount(
    pack: RenderedPack, published: SamplePublished
) -> None:
    rows = published.frame("grade_counts", site_id=SITE, month=MONTH, quantity="stiffness")
    counts = [
        sum(row["n_exams"] for row in rows.to_dicts() if row["band"] == band) for band in range(5)
    ]
    found = [
        f.text for f in pack.figures if re.match(r"grades\.lsm_baveno7\.v1\.month\.\d", f.name)
    ]
    assert found == [f"{100 * n / sum(counts):.1f} % ({n})" for n in counts]


def test_rows_of_the_operator_table_are_printed_whole(
    pages: list[str], published: SamplePublished
) -> None:
    text = "".join("".join(pages).split())
    row = published.frame("monthly_counts", operator_id="31", month=MONTH).to_dicts()[0]
    share, interval = rate_text(row["n_unreliable"], row["n_measured"])
    printed = f"Operator31look{row['n_judged']}exams{share}{interval}n={row['n_measured']}"
    assert "".join(printed.split()) in text


def test_exams_listed_are_those_not_reliable(
    pack: RenderedPack, published: SamplePublished
) -> None:
    exams = published.frame("exams", site_id=SITE, month=MONTH).to_dicts()
    expected = {
        exam["exam_key"][:9]
        for exam in exams
        if exam["outcome"] in ("failed", "incomplete", "unreliable")
    }
    found = {f.name.removeprefix("exam.") for f in pack.figures if f.name.startswith("exam.")}
    assert found == expected


def test_no_heading_stands_alone_at_the_foot_of_a_page(pack: RenderedPack) -> None:
    reader = PdfReader(io.BytesIO(pack.pdf))
    for entry in reader.outline:
        assert float(entry.top) >= look.BOTTOM + 60, f"{entry.title} at {entry.top}"


def test_tables_repeat_their_heads(pages: list[str]) -> None:
    for head, row in (("Least n", r"MSR-\d\d\d"), ("Outcome", r"did not meet")):
        holding = [page for page in pages if re.search(row, page)]
        assert holding
        assert all(head in page for page in holding)
