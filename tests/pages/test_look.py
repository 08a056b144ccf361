"""One set of colours: the page's tokens, the charts' colours and their dark twins agree."""

import re
from pathlib import Path

import pytest

from dashboard import look

ASSETS = Path(look.__file__).parent / "assets"
TOKENS = {
    "paper": look.PAPER,
    "ink": look.INK,
    "muted": look.MUTED,
    "rule": look.RULE,
    "band": look.BAND,
    "base": look.BASE,
    "look": look.LOOK,
    "link": look.LINK,
}


def page_tokens() -> dict[str, tuple[str, str]]:
    """Token → (light, dark) of look.css."""
    css = (ASSETS / "look.css").read_text(encoding="utf-8")
    pairs = re.findall(r"--([a-z0-9-]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", css)
    return {name: (light, dark) for name, light, dark in pairs}


@pytest.mark.parametrize("name", TOKENS)
def test_chart_colours_equal_the_page_in_light_and_dark(name):
    script = (ASSETS / "theme.js").read_text(encoding="utf-8")
    twins = dict(re.findall(r'"(#[0-9a-f]{6})": "(#[0-9a-f]{6})"', script.split("PRINT")[0]))
    light, dark = page_tokens()[name]
    assert light == TOKENS[name]
    assert twins[light] == dark


def luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.2."""
    shares = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("side", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "card", "band", "base"])
@pytest.mark.parametrize("name", ["ink", "muted", "look", "link"])
def test_text_colours_reach_the_contrast_of_wcag(name, ground, side):
    """WCAG 2.2, 1.4.3: at least 4.5 to 1 for text."""
    tokens = page_tokens()
    text, back = luminance(tokens[name][side]), luminance(tokens[ground][side])
    contrast = (max(text, back) + 0.05) / (min(text, back) + 0.05)
    assert contrast >= 4.5


@pytest.mark.parametrize("side", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("shade", "text"),
    [
        (0, "on-light-shade"),
        (1, "on-light-shade"),
        (2, "on-light-shade"),
        (3, "on-dark-shade"),
        (4, "on-dark-shade"),
    ],
)
def test_figures_in_bands_reach_the_contrast_of_wcag(shade, text, side):
    tokens = page_tokens()
    a, b = luminance(tokens[f"shade-{shade}"][side]), luminance(tokens[text][side])
    assert (max(a, b) + 0.05) / (min(a, b) + 0.05) >= 4.5
