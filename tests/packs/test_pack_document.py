"""A pack as a document, read by pypdf and pdfplumber (general-purpose libraries)."""

import hashlib
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pdfplumber
import pytest
from pypdf import PdfReader

from qa.model.definitions import CAUTION, GRADE_CAUTION
from qa.model.errors import PackError
from qa.model.months import add_months
from qa.model.pack_request import PackKind, PackRequest
from qa.views.pack import RenderedPack
from reports.pack import render_pack
from tests.packs.conftest import MONTH
from tests.pages.sample_published import SamplePublished

REPO = Path(__file__).parents[2]
SECTIONS = [
    "The month in words",
    "Control charts",
    "Operators",
    "Repeats",
    "Grade distribution",
    "Exams to look at",
    "Devices and phantom checks",
    "Cases and effectiveness checks",
    "Earlier months restated",
    "Requirements met",
    "Methods",
    "Cautions",
    "Provenance",
]


def squeezed(text: str) -> str:
    return "".join(text.split())


@pytest.fixture(scope="module")
def pack(published: SamplePublished) -> RenderedPack:
    return render_pack(published, PackRequest(PackKind.SITE, "S3", MONTH), number=1)


@pytest.fixture(scope="module")
def reader(pack: RenderedPack) -> PdfReader:
    return PdfReader(io.BytesIO(pack.pdf))


def test_document_names_itself(reader: PdfReader, published: SamplePublished) -> None:
    info = reader.metadata
    assert info is not None
    assert info.title == "Eider Point, October 2026: audit pack S3-2026-10-1"
    assert info.creation_date == published.published_at
    assert reader.root_object["/Lang"] == "en-GB"
    assert [entry.title for entry in reader.outline] == SECTIONS


def test_every_page_has_header_caution_and_number(reader: PdfReader) -> None:
    n = len(reader.pages)
    for number, page in enumerate(reader.pages, start=1):
        text = squeezed(page.extract_text())
        assert squeezed("Eider Point · October 2026") in text
        assert squeezed("invented demo data") in text
        assert squeezed(CAUTION) in text
        assert text.endswith(squeezed(f"page {number} of {n}"))
        assert page.mediabox.width == pytest.approx(595.28, abs=0.01)  # A4, ISO 216
        assert page.mediabox.height == pytest.approx(841.89, abs=0.01)


def test_only_embedded_fonts_are_named(reader: PdfReader) -> None:
    fonts = [
        font.get_object() for page in reader.pages for font in page["/Resources"]["/Font"].values()
    ]
    assert {str(font["/BaseFont"]).split("+")[-1] for font in fonts} == {
        "IBMPlexSans",
        "IBMPlexSans-SmBld",
    }
    assert all("/FontFile2" in font["/FontDescriptor"] for font in fonts)


def test_page_one_says_the_month(pack: RenderedPack, reader: PdfReader) -> None:
    with pdfplumber.open(io.BytesIO(pack.pdf)) as document:
        text = squeezed(document.pages[0].extract_text())
    # 219 exams of operator 31 since July, 18.3 % unreliable: facts of the sample (sample_counts).
    assert squeezed("One thing needs attention at Eider Point in October 2026") in text
    assert squeezed("unreliable exams rose from 5.0 to 18.3 % since July 2026") in text
    assert squeezed("What is asked of whom") in text
    in_order_of_drawing = squeezed(reader.pages[0].extract_text())
    assert squeezed("Site lead, Operator 31") in in_order_of_drawing
    assert squeezed("n = 176") in text


def test_grades_stand_with_caution_table_and_confidence(pack: RenderedPack) -> None:
    with pdfplumber.open(io.BytesIO(pack.pdf)) as document:
        text = squeezed("".join(page.extract_text() for page in document.pages))
    assert squeezed(GRADE_CAUTION.split(";")[0]) in text
    assert squeezed("lsm_baveno7.v1") in text
    assert squeezed("read second-hand") in text


def test_exams_give_rule_and_figure_and_no_patient(
    pack: RenderedPack, reader: PdfReader, published: SamplePublished
) -> None:
    text = squeezed("".join(page.extract_text() for page in reader.pages))
    assert squeezed("failed did not meet common-practice.v1 (no valid measurement)") in text
    assert squeezed("unreliable did not meet common-practice.v1 (IQR/median 59 % ≥ 30 %)") in text
    patients = published.frame("exams", site_id="S3")["patient_key"].to_list()
    assert not [key for key in patients if key in text or key in pack.manifest.decode()]


def test_manifest_holds_digest_of_the_bytes(pack: RenderedPack) -> None:
    manifest = json.loads(pack.manifest)
    assert manifest["pdf_sha256"] == hashlib.sha256(pack.pdf).hexdigest()
    bare = {key: value for key, value in manifest.items() if key != "manifest_sha256"}
    canonical = json.dumps(bare, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert manifest["manifest_sha256"] == hashlib.sha256(canonical.encode()).hexdigest()
    assert manifest["criteria"][0]["fingerprint"]
    assert manifest["source_files"] == [
        {"name": "s3-2026-10.csv", "sha256": "file-S3", "state": "read"}
    ]


def test_figure_names_are_unique(pack: RenderedPack) -> None:
    names = [figure.name for figure in pack.figures]
    assert len(names) == len(set(names)) > 80


def test_summary_figures_equal_a_plain_count(
    pack: RenderedPack, published: SamplePublished
) -> None:
    rows = published.frame("monthly_counts", site_id="S3", month=MONTH).to_dicts()
    judged = sum(row["n_judged"] for row in rows)
    failed = sum(row["n_failed"] for row in rows)
    figures = {figure.name: figure for figure in pack.figures}
    assert figures["n_judged"].value == judged
    assert figures["failed"].value == pytest.approx(failed / judged)
    assert figures["failed"].text == f"{100 * failed / judged:.1f} %"


def test_same_snapshot_gives_same_bytes_in_another_process(pack: RenderedPack) -> None:
    code = (
        "import hashlib; from qa.model.pack_request import PackKind, PackRequest; "
        "from reports.pack import render_pack; "
        "from tests.packs.conftest import MONTH, sample_of_one_set; "
        "p = render_pack(sample_of_one_set(), PackRequest(PackKind.SITE, 'S3', MONTH), number=1); "
        "print(hashlib.sha256(p.pdf + p.manifest).hexdigest())"
    )
    expected = hashlib.sha256(pack.pdf + pack.manifest).hexdigest()
    for seed in ("1", "4242"):
        done = subprocess.run(
            [sys.executable, "-c", code],
            cwd=REPO,
            env={"PYTHONHASHSEED": seed, "SOURCE_DATE_EPOCH": seed, "TZ": "Asia/Tokyo"},
            capture_output=True,
            text=True,
            check=True,
        )
        assert done.stdout.strip() == expected


def test_another_number_gives_other_bytes(pack: RenderedPack, published: SamplePublished) -> None:
    second = render_pack(published, PackRequest(PackKind.SITE, "S3", MONTH), number=2)
    assert second.pdf != pack.pdf
    assert [f.text for f in second.figures] == [f.text for f in pack.figures]


@pytest.mark.parametrize(
    ("site_id", "words"),
    [
        ("S1", "Nothing signals at Alder Sound in October 2026"),
        ("S5", "4 exams in October 2026, too few for a verdict"),
        ("S6", "has sent no exams of October 2026 yet"),
    ],
)
def test_quiet_few_and_late_months_are_said_in_words(
    published: SamplePublished, site_id: str, words: str
) -> None:
    pack = render_pack(published, PackRequest(PackKind.SITE, site_id, MONTH), number=1)
    text = squeezed(PdfReader(io.BytesIO(pack.pdf)).pages[0].extract_text())
    assert squeezed(words) in text


def test_late_site_is_asked_for_its_exams(published: SamplePublished) -> None:
    pack = render_pack(published, PackRequest(PackKind.SITE, "S6", MONTH), number=1)
    text = squeezed("".join(p.extract_text() for p in PdfReader(io.BytesIO(pack.pdf)).pages))
    assert squeezed("Send the exams of October 2026, or say that there were none") in text
    assert squeezed("No exams in October 2026, so there is no operator to show.") in text


def test_site_with_one_exam_ever_gets_a_pack(published: SamplePublished) -> None:
    frames = {}
    for name, frame in published.frames.items():
        is_own = frame.filter(frame["site_id"] == "S5") if "site_id" in frame.columns else frame
        frames[name] = is_own if name != "exams" else is_own.head(1)
    frames["chart_points"] = published.frames["chart_points"].filter(
        published.frames["chart_points"]["unit_kind"] == "network"
    )
    alone = SamplePublished(frames, published.network, published.definitions)
    pack = render_pack(alone, PackRequest(PackKind.SITE, "S5", MONTH), number=1)
    assert "no data" in {figure.text for figure in pack.figures}


def test_unknown_site_and_month_are_refused_in_words(published: SamplePublished) -> None:
    with pytest.raises(PackError, match=r"\[PCK-001\] there is no site 'S99'.*S1, S2"):
        render_pack(published, PackRequest(PackKind.SITE, "S99", MONTH), number=1)
    with pytest.raises(PackError, match=r"\[PCK-002\].*November 2024 to October 2026"):
        render_pack(published, PackRequest(PackKind.SITE, "S3", add_months(MONTH, 1)), number=1)


@pytest.mark.skipif(shutil.which("qpdf") is None, reason="qpdf is not on this machine")
def test_qpdf_finds_no_fault(pack: RenderedPack, tmp_path: Path) -> None:
    path = tmp_path / "pack.pdf"
    path.write_bytes(pack.pdf)
    done = subprocess.run(["qpdf", "--check", str(path)], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "No syntax or stream encoding errors found" in done.stdout


def test_pack_stays_small(pack: RenderedPack) -> None:
    assert len(pack.pdf) <= 150_000  # wanted size of a pack, issue of audit packs
