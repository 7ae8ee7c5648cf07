"""The colours: contrast after WCAG 2, and told apart with every kind of colour vision."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from dashboard import palette

# Machado, Oliveira and Fernandes 2009, severity 1.0, linear RGB.
VISION = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# Linear sRGB to XYZ, D65 (IEC 61966-2-1).
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
SCHEMES = {"light": palette.LIGHT, "dark": palette.DARK}


def linear(colour: str) -> np.ndarray:
    c = np.array(palette.rgb(colour)) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(rgb_linear: np.ndarray) -> np.ndarray:
    t = TO_XYZ @ np.clip(rgb_linear, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def ciede2000(one: np.ndarray, two: np.ndarray) -> float:
    """Sharma, Wu and Dalal 2005, equations 2 to 22."""
    mean_c = (np.hypot(one[1], one[2]) + np.hypot(two[1], two[2])) / 2
    g = 0.5 * (1 - np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)))
    a = np.array([(1 + g) * one[1], (1 + g) * two[1]])
    b = np.array([one[2], two[2]])
    c, h = np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360
    turn = h[1] - h[0]
    turn = 0.0 if c[0] * c[1] == 0 else turn - 360 if turn > 180 else turn + 360 if turn < -180 else turn
    dl, dc, dh = two[0] - one[0], c[1] - c[0], 2 * np.sqrt(c[0] * c[1]) * np.sin(np.radians(turn) / 2)
    ml, mc = (one[0] + two[0]) / 2, c.mean()
    mh = h.mean() if abs(h[0] - h[1]) <= 180 else (h.sum() + (360 if h.sum() < 360 else -360)) / 2
    mh = h.sum() if c[0] * c[1] == 0 else mh
    waves = ((0.17, 1, -30), (-0.24, 2, 0), (-0.32, 3, 6), (0.20, 4, -63))
    t = 1 - sum(size * np.cos(np.radians(times * mh + turned)) for size, times, turned in waves)
    sl, sc, sh = 1 + 0.015 * (ml - 50) ** 2 / np.sqrt(20 + (ml - 50) ** 2), 1 + 0.045 * mc, 1 + 0.015 * mc * t
    rt = -np.sin(np.radians(60 * np.exp(-(((mh - 275) / 25) ** 2)))) * 2 * np.sqrt(mc**7 / (mc**7 + 25.0**7))
    return float(np.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dh / sh) ** 2 + rt * (dc / sc) * (dh / sh)))


def test_contrast_of_black_on_white_is_21() -> None:
    # WCAG 2.2, definition of contrast ratio: from 1 to 21.
    assert palette.contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert palette.contrast("#FFFFFF", "#FFFFFF") == pytest.approx(1.0)


def test_colour_difference_formula_gives_the_published_pair() -> None:
    # Sharma, Wu and Dalal 2005, table 1, pair 1.
    assert ciede2000(np.array([50.0, 2.6772, -79.7751]), np.array([50.0, 0.0, -82.7485])) == pytest.approx(
        2.0425, abs=5e-5
    )


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("ground", ["paper", "ground"])
@pytest.mark.parametrize("text", ["ink", "second", "measured", "air"])
def test_text_is_readable(scheme: str, ground: str, text: str) -> None:
    colours = SCHEMES[scheme]
    assert palette.contrast(colours[text], colours[ground]) >= 4.5


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(
    ("mark", "ground"),
    [
        ("grey", "paper"),
        ("grey", "ground"),
        ("air", "board"),
        ("measured", "band"),
        ("air", "band"),
        ("second", "board"),
        ("ink", "caution"),
    ],
)
def test_graphics_stand_out(scheme: str, mark: str, ground: str) -> None:
    colours = SCHEMES[scheme]
    assert palette.contrast(colours[mark], colours[ground]) >= 3.0


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("vision", VISION)
def test_meaning_colours_are_told_apart_with_every_colour_vision(scheme: str, vision: str) -> None:
    seen = {n: lab(VISION[vision] @ linear(SCHEMES[scheme][n])) for n in ("ink", "measured", "air", "grey")}
    assert min(ciede2000(seen[a], seen[b]) for a, b in combinations(seen, 2)) >= 15


def test_no_colour_is_green() -> None:
    for colours in SCHEMES.values():
        for name in ("measured", "air", "band", "tint", "board", "caution"):
            r, g, b = palette.rgb(colours[name])
            assert not (g > r and g > b), name


def test_both_schemes_name_the_same_colours() -> None:
    assert palette.LIGHT.keys() == palette.DARK.keys()


def test_every_light_colour_of_a_plotted_figure_has_a_dark_twin() -> None:
    css = palette.style_sheet()
    assert 'stroke="rgb(29, 90, 140)"]{stroke:#86BCEB !important}' in css
    assert 'style*="fill: rgb(168, 58, 14)"]{fill:#F58B5A !important}' in css
