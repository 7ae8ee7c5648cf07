"""The colours, light and dark, and what is written into the page so that one drawing serves both.

Drawings name colours (``var(--ink)``). Plotted figures must carry real colours, so they are made in the
light ones and a style sheet, built here, swaps every light colour of a figure for its dark twin.
"""

from __future__ import annotations

LIGHT: dict[str, str] = {
    "ground": "#E9EDE8",
    "paper": "#FBFCFA",
    "ink": "#17211D",
    "second": "#46524C",
    "hairline": "#C3CBC4",
    "grey": "#727E78",
    "measured": "#1D5A8C",
    "band": "#C7DAE8",
    "air": "#A83A0E",
    "tint": "#F3DACD",
    "board": "#E3CFA4",
    "inside": "#EEF3F5",
    "caution": "#F6E9C8",
    "ahead": "#F1F4F0",
}
DARK: dict[str, str] = {
    "ground": "#121816",
    "paper": "#1B2320",
    "ink": "#E9EFEA",
    "second": "#B0BCB5",
    "hairline": "#3B4742",
    "grey": "#88958E",
    "measured": "#86BCEB",
    "band": "#274358",
    "air": "#F58B5A",
    "tint": "#4A2B1C",
    "board": "#5A4A2C",
    "inside": "#17211F",
    "caution": "#352C14",
    "ahead": "#161D1A",
}


def rgb(colour: str) -> tuple[int, int, int]:
    """Red, green and blue, 0..255, of ``#RRGGBB``."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _linear(channel: int) -> float:
    c = channel / 255.0
    return c / 12.92 if c <= 0.04045 else float(((c + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    """Relative luminance, 0..1, after WCAG 2."""
    r, g, b = (_linear(c) for c in rgb(colour))
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast ratio, 1..21, after WCAG 2."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _variables(colours: dict[str, str]) -> str:
    return "".join(f"--{name}:{value};" for name, value in colours.items())


def _swaps(scope: str) -> str:
    """Rules that give every light colour in a plotted figure its dark twin."""
    rules = []
    for name in LIGHT:
        spelled = "rgb({}, {}, {})".format(*rgb(LIGHT[name]))
        for part in ("fill", "stroke"):
            for found in (
                f'[style*="{part}: {spelled}"]',
                f'[{part}="{LIGHT[name].lower()}"]',
                f'[{part}="{LIGHT[name]}"]',
                f'[{part}="{spelled}"]',
            ):
                rules.append(f"{scope} .js-plotly-plot {found}{{{part}:{DARK[name]} !important}}")
    return "\n".join(rules)


def style_sheet() -> str:
    """The colour rules of the page: light, dark by the machine's wish, and either by the switch."""
    dark = f"color-scheme:dark;{_variables(DARK)}"
    wished = ":root:not([data-theme=light])"
    chosen = ":root[data-theme=dark]"
    return "\n".join(
        (
            f":root{{color-scheme:light;{_variables(LIGHT)}}}",
            f"{chosen}{{{dark}}}\n{_swaps(chosen)}",
            f"@media screen and (prefers-color-scheme:dark){{{wished}{{{dark}}}\n{_swaps(wished)}}}",
            f"@media print{{:root,{chosen}{{color-scheme:light;{_variables(LIGHT)}--ground:#FFFFFF;--paper:#FFFFFF}}}}",
        )
    )
