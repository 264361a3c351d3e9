"""Contrast of text and of neighbouring classes, on a screen indoors and under the sky.

Contrast ratio and its limits: WCAG 2.2, success criteria 1.4.3 (text 4.5, large text 3) and 1.4.11 (edges of
controls 3). Under the sky a veil lies on the screen: a matt reflection of E x rho / pi cd/m2 is added to both
(photometry, textbook). A phone of 500 cd/m2 that reflects 1 %, judgement; 10,000 lx is open shade at noon and
30,000 lx thin cloud, common figures, no source.
"""

import math
import re
from pathlib import Path

import pytest

from covermap.reports import brief
from covermap.wording.palette import INK_DARK, INK_LIGHT, TIERS, rgb

WEB_MAP = Path(brief.__file__).resolve().parents[1] / "web_map"
VARIABLES = dict(re.findall(r"--(\w+): (#[0-9A-F]{6});", (WEB_MAP / "css/base.css").read_text("utf-8")))
WHITE_CD_M2, REFLECTED = 500.0, 0.01
SHADE_LX, BRIGHT_LX = 10_000.0, 30_000.0
EDGE_LIGHT, EDGE_SHARE = "#FBF9F5", 0.42  # of the light lines between squares


def luminance(colour):
    """Return the relative luminance of #RRGGBB. Source: WCAG 2.2, definition of relative luminance."""
    parts = [part / 255.0 for part in rgb(colour)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other, lx=0.0):
    """Return the contrast ratio of two colours under light on the screen; without any as WCAG has it."""
    veil = 0.05 if lx == 0.0 else lx * REFLECTED / math.pi / WHITE_CD_M2
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + veil) / (dark + veil)


@pytest.mark.parametrize(
    ("ink", "lx", "ratio"),
    [
        ("#000000", 0.0, 21.0),  # WCAG 2.2: ratios run from 1 to 21
        ("#777777", 0.0, 4.48),  # the known grey just under 4.5
        # 500 cd/m2 under 30,000 lx at 1 %: veil 95.5 cd/m2; (500 + 95.5) / 95.5
        ("#000000", BRIGHT_LX, 6.24),
    ],
)
def test_the_ratio_is_that_of_the_standard(ink, lx, ratio):
    assert contrast(ink, "#FFFFFF", lx) == pytest.approx(ratio, abs=0.01)


TEXTS = [(ink, ground) for ink in ("ink", "soft", "act") for ground in ("paper", "raised", "wash")]


@pytest.mark.parametrize(("ink", "ground"), TEXTS)
def test_text_can_be_read_indoors_and_under_a_bright_sky(ink, ground):
    colours = VARIABLES[ink], VARIABLES[ground]
    assert contrast(*colours) >= 4.5
    assert contrast(*colours, BRIGHT_LX) >= 3.0  # the limit of large text, as a judgement for glare


@pytest.mark.parametrize("ground", ["paper", "raised"])
def test_edges_of_controls_stand_out(ground):
    assert contrast(VARIABLES["edge"], VARIABLES[ground]) >= 3.0


@pytest.mark.parametrize("look", TIERS, ids=lambda look: str(look.number))
def test_a_number_can_be_read_on_its_class(look):
    ground = INK_LIGHT if look.number == 8 else look.painted  # 8 stands on a white plate
    assert contrast(look.ink, ground) >= 4.5
    assert contrast(look.ink, ground, SHADE_LX) >= 3.0
    # on the map a number has a halo of the other ink, which is what it is read against in the sun
    halo = INK_LIGHT if look.ink == INK_DARK else INK_DARK
    assert contrast(look.ink, halo, BRIGHT_LX) >= 4.5


@pytest.mark.parametrize("number", range(1, 8))
def test_neighbouring_classes_differ_and_light_lines_part_the_dark_ones(number):
    one, other = TIERS[number - 1].painted, TIERS[number].painted
    assert contrast(one, other) >= 1.3
    if number >= 5:  # both from 5 up: a light line stands between them, from 3 px a square
        line = blended(EDGE_LIGHT, one, EDGE_SHARE)
        assert contrast(line, other, BRIGHT_LX) >= 1.3
        assert contrast(line, other, BRIGHT_LX) > contrast(one, other, BRIGHT_LX)


def blended(top, under, share):
    return "#{:02X}{:02X}{:02X}".format(
        *(round(share * a + (1.0 - share) * b) for a, b in zip(rgb(top), rgb(under), strict=True))
    )


def test_hints_in_the_search_field_are_as_dark_as_other_soft_text():
    css = "".join(path.read_text("utf-8") for path in (WEB_MAP / "css").glob("*.css"))
    assert re.search(r"::placeholder \{[^}]*color: var\(--soft\)", css)
