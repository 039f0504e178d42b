"""The colours as book.css has them: readable in both schemes, and told apart by every eye."""

import re
from math import dist
from pathlib import Path

import pytest

CSS = (Path(__file__).parent.parent.parent / "dashboard/static/dashboard/book.css").read_text()
TOKEN = re.compile(r"--(\w+): (#[0-9A-Fa-f]{6})")
# WCAG 2.2, 1.4.3 (text) and 1.4.11 (lines of controls and drawings).
TEXT, LINES = 4.5, 3.0
TEXT_PAIRS = [(ink, ground) for ink in ("ink", "neutral", "inside", "outside") for ground in ("paper", "band")]
# The words on the accent button.
TEXT_PAIRS.append(("paper", "inside"))
# Borders of fields and rows stand on paper only; on the band, lines are drawn in ink or neutral.
LINE_PAIRS = [("field", "paper")]
# Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE
# Transactions on Visualization and Computer Graphics 15 (2009), severity 1.0, for linear RGB.
DEFICIENCIES = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
    "none": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
}
# Differences in CIELAB (CIE 15): 2.3 is just seen side by side; small marks far apart need about ten times that.
TOLD_APART = 25.0

Triple = tuple[float, float, float]


def schemes() -> dict[str, dict[str, str]]:
    """Return the tokens of each scheme, the first :root being light and the one in the media query dark."""
    light, dark = re.findall(r":root \{(.*?)\n\s*\}", CSS, re.DOTALL)[:2]
    return {"light": dict(TOKEN.findall(light)), "dark": dict(TOKEN.findall(dark))}


def linear(colour: str) -> Triple:
    """Return the linear RGB of a colour (IEC 61966-2-1)."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return red, green, blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of WCAG 2.2."""
    lights = sorted(sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear(x), strict=True)) for x in (one, other))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def lab(rgb: Triple) -> Triple:
    """Return CIELAB coordinates of linear RGB, white D65."""
    red, green, blue = (min(1.0, max(0.0, channel)) for channel in rgb)
    x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.9505
    y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.0890
    fx, fy, fz = (t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


def seen(colour: str, deficiency: str) -> Triple:
    """Return the CIELAB coordinates of a colour as somebody with the deficiency sees it."""
    red, green, blue = (
        sum(weight * channel for weight, channel in zip(row, linear(colour), strict=True))
        for row in DEFICIENCIES[deficiency]
    )
    return lab((red, green, blue))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT_PAIRS)
def test_text_stands_out_from_its_ground(scheme: str, ink: str, ground: str) -> None:
    tokens = schemes()[scheme]
    assert contrast(tokens[ink], tokens[ground]) >= TEXT


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("line", "ground"), LINE_PAIRS)
def test_lines_stand_out_from_their_ground(scheme: str, line: str, ground: str) -> None:
    tokens = schemes()[scheme]
    assert contrast(tokens[line], tokens[ground]) >= LINES


def test_every_token_is_in_a_pair() -> None:
    named = {name for pair in TEXT_PAIRS + LINE_PAIRS for name in pair}
    assert {name for tokens in schemes().values() for name in tokens} == named


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_the_two_status_hues_are_told_apart_by_every_eye(scheme: str, deficiency: str) -> None:
    tokens = schemes()[scheme]
    assert dist(seen(tokens["inside"], deficiency), seen(tokens["outside"], deficiency)) >= TOLD_APART


def test_red_and_green_would_not_be_told_apart() -> None:
    # The test above can fail: this pair of equal lightness is the classic one.
    assert dist(seen("#6E7F00", "deutan"), seen("#A86A00", "deutan")) < TOLD_APART


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_the_simulation_leaves_white_and_grey_as_they_are(deficiency: str) -> None:
    for grey in ("#FFFFFF", "#777777"):
        assert dist(seen(grey, deficiency), lab(linear(grey))) < 0.1


def test_contrast_meets_the_ends_of_its_scale() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#777777", "#777777") == 1


def test_no_colour_stands_in_the_style_sheet_but_as_a_token() -> None:
    outside_tokens = re.sub(r":root \{.*?\}", "", CSS, flags=re.DOTALL)
    assert re.findall(r"#[0-9A-Fa-f]{3,8}\b", outside_tokens) == []


def test_dark_is_light_on_dark() -> None:
    light, dark = schemes()["light"], schemes()["dark"]
    assert lab(linear(light["ink"]))[0] < lab(linear(light["paper"]))[0]
    assert lab(linear(dark["ink"]))[0] > lab(linear(dark["paper"]))[0]
