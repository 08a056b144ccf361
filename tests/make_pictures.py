"""Make the README's pictures from a demo: python -m tests.make_pictures DEMO_FOLDER PASSWORD

PASSWORD: of the demo's QA manager, printed once when the demo is made.

Needs Debian's chromium and poppler-utils. Look at what it made before you commit it.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from tests.browser.conftest import FLAGS, chromium_path, free_port, wait_until_healthy

PICTURES = Path(__file__).parent.parent / ".pictures"
PACK_SITE = "eider-point"
MANAGER = "qa-manager@demo.invalid"
WIDTH, HEIGHT = 1280, 1240


def make_month_picture(folder: Path, password: str) -> None:
    port = free_port()
    command = [sys.executable, "-m", "qa", "serve", "--network", str(folder), "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    try:
        wait_until_healthy(server, f"http://127.0.0.1:{port}")
        photograph(f"http://127.0.0.1:{port}/", password)
    finally:
        server.terminate()
        server.wait()


def photograph(address: str, password: str) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=FLAGS)
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        page.goto(address)
        page.fill("#email", MANAGER)
        page.fill("#password", password)
        page.click("main button >> nth=0")
        page.wait_for_selector("#answer")
        page.wait_for_timeout(2_000)
        page.screenshot(path=PICTURES / "month.png")
        browser.close()


def make_pack_picture(folder: Path) -> None:
    pack = sorted(folder.glob(f"packs/*/{PACK_SITE}/*/*.pdf"))[-1]
    with tempfile.TemporaryDirectory() as place:
        first = Path(place) / "page"
        command = ["pdftoppm", "-f", "1", "-l", "1", "-r", "90", "-png", "-singlefile"]
        subprocess.run([*command, str(pack), str(first)], check=True)
        Image.open(first.with_suffix(".png")).save(PICTURES / "pack.png")


def shrink(path: Path) -> None:
    """Few colours are enough for ink on paper."""
    Image.open(path).convert("RGB").quantize(64).save(path, optimize=True)


def main(arguments: list[str]) -> int:
    if len(arguments) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    PICTURES.mkdir(exist_ok=True)
    make_month_picture(Path(arguments[0]), arguments[1])
    make_pack_picture(Path(arguments[0]))
    for path in PICTURES.glob("*.png"):
        shrink(path)
        print(f"{path.name}: {path.stat().st_size:,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
