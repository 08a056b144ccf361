"""Pages as they were looked at: text of the first two, and page one as a small grey picture.

After a change that was looked at: GOLDEN=write pytest -n 0 tests/packs/test_golden_pages.py
The picture is grey, so what it shows does not rest on colour.
"""

import io
import os
import shutil
import subprocess
from datetime import date
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageStat
from pypdf import PdfReader

from qa.model.pack_request import PackKind, PackRequest
from reports.pack import render_pack
from tests.packs.conftest import MONTH
from tests.pages.sample_published import SamplePublished

GOLDEN = Path(__file__).parent / "golden"
CASES = {
    "site": (PackKind.SITE, "S3", None),
    "operator": (PackKind.OPERATOR, "31", None),
    "network": (PackKind.NETWORK, "", None),
    "record": (PackKind.RECORD, "S3", date(2026, 5, 1)),
}
DOTS_PER_INCH = "40"
LARGEST_MEAN_DIFFERENCE = 2.0
"""Of 255 grey levels: another drawing library smooths edges otherwise, a moved block is more."""


def drawn(published: SamplePublished, name: str) -> bytes:
    kind, unit, first = CASES[name]
    wanted = PackRequest(kind, unit or published.network.id, MONTH, first)
    return render_pack(published, wanted, number=1).pdf


@pytest.mark.parametrize("name", CASES)
def test_text_of_the_first_pages(published: SamplePublished, name: str) -> None:
    pages = PdfReader(io.BytesIO(drawn(published, name))).pages[:2]
    text = "\n\f\n".join(page.extract_text() for page in pages) + "\n"
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("GOLDEN") == "write":
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm (poppler) is not installed")
@pytest.mark.parametrize("name", CASES)
def test_picture_of_page_one_in_grey(published: SamplePublished, name: str, tmp_path: Path) -> None:
    (tmp_path / "pack.pdf").write_bytes(drawn(published, name))
    command = ["pdftoppm", "-gray", "-png", "-r", DOTS_PER_INCH, "-l", "1", "-singlefile"]
    subprocess.run([*command, "pack.pdf", "page"], cwd=tmp_path, check=True)
    path = GOLDEN / f"{name}.png"
    if os.environ.get("GOLDEN") == "write":
        shutil.copy(tmp_path / "page.png", path)
    found, kept = Image.open(tmp_path / "page.png"), Image.open(path)
    assert found.size == kept.size
    difference = ImageStat.Stat(ImageChops.difference(found, kept)).mean[0]
    assert difference < LARGEST_MEAN_DIFFERENCE
