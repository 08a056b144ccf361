"""The look of packs: one type family, four sizes, one grid, the colour tokens.

Colour only supports: every mark differs in shape as well, so a pack printed in grey says the same.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from reportlab import rl_config
from reportlab.lib.colors import Color, HexColor
from reportlab.lib.enums import TA_LEFT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from qa.model.errors import PackError

# Streams as bytes, not as ASCII: a quarter smaller.
rl_config.useA85 = 0

REGULAR = "PlexSans"
STRONG = "PlexSans-SemiBold"

SMALL, BODY, HEAD, TITLE = 9.0, 10.5, 14.0, 25.0
LEADING = {SMALL: 12.0, BODY: 15.0, HEAD: 18.0, TITLE: 30.0}

INK = HexColor("#1b2430")
MUTED = HexColor("#5d6673")
RULE = HexColor("#ddd9cf")
BAND = HexColor("#efece3")
BASE = HexColor("#f7f5ee")
LOOK = HexColor("#8a1f5c")
PAPER = HexColor("#ffffff")
HAIRLINE = 0.6

WIDTH = A4[0] - 2 * 45.0
"""One measure for both papers: on Letter the margins are wider and the pages shorter."""
BOTTOM = 92.0
FOOTER_Y = 78.0
LAST_LINE_Y = 30.0
N_COLUMNS = 6
GUTTER = 12.0
COLUMN = (WIDTH - (N_COLUMNS - 1) * GUTTER) / N_COLUMNS


@dataclass(frozen=True)
class Sheet:
    """A size of paper in points."""

    name: str
    width: float
    height: float

    @property
    def margin(self) -> float:
        return (self.width - WIDTH) / 2

    @property
    def header_y(self) -> float:
        return self.height - 48.0

    @property
    def top(self) -> float:
        return self.height - 78.0


SHEETS: dict[str, Sheet] = {
    name: Sheet(name, *size) for name, size in (("A4", A4), ("Letter", LETTER))
}


def span(n_columns: int) -> float:
    """Width in points of n columns of the grid with the gutters between them."""
    return n_columns * COLUMN + (n_columns - 1) * GUTTER


@cache
def register_fonts() -> None:
    """Make both weights known to reportlab; each pack embeds the glyphs that it uses."""
    folder = Path(__file__).parent / "fonts"
    pdfmetrics.registerFont(TTFont(REGULAR, folder / "IBMPlexSans-Regular.ttf"))
    pdfmetrics.registerFont(TTFont(STRONG, folder / "IBMPlexSans-SemiBold.ttf"))
    pdfmetrics.registerFontFamily(
        REGULAR, normal=REGULAR, bold=STRONG, italic=REGULAR, boldItalic=STRONG
    )


def check_glyphs(words: str) -> None:
    """Raises: PackError: a character that the pack's font has no glyph for."""
    register_fonts()
    known = pdfmetrics.getFont(REGULAR).face.charToGlyph
    missing = sorted({one for one in words if ord(one) not in known and one not in "\n\t"})
    if missing:
        codes = ", ".join(f"U+{ord(one):04X}" for one in missing[:5])
        raise PackError(
            f"'{words[:60]}' holds characters that the pack's font has not ({codes})",
            expected="Latin, Greek or Cyrillic letters",
            todo="Write the name in such letters in network.toml, then run 'elastoqa refresh'",
            code="PCK-009",
        )


def text_width(text: str, size: float = SMALL, font: str = REGULAR) -> float:
    """Width of one line of text in points."""
    register_fonts()
    return float(pdfmetrics.stringWidth(text, font, size))


@cache
def style(size: float, *, is_strong: bool = False, is_muted: bool = False) -> ParagraphStyle:
    """Paragraph style of one of the four sizes; no other sizes exist."""
    register_fonts()
    return ParagraphStyle(
        f"{size}-{is_strong}-{is_muted}",
        fontName=STRONG if is_strong else REGULAR,
        fontSize=size,
        leading=LEADING[size],
        textColor=MUTED if is_muted else INK,
        alignment=TA_LEFT,
        splitLongWords=1,
        allowWidows=0,
        allowOrphans=0,
    )


def tint(share: float) -> Color:
    """Ink mixed with paper: 0 is paper, 1 is ink. One hue from light to dark for ordered bands."""
    return Color(
        PAPER.red + (INK.red - PAPER.red) * share,
        PAPER.green + (INK.green - PAPER.green) * share,
        PAPER.blue + (INK.blue - PAPER.blue) * share,
    )
