"""Colours of the figures, for light and dark paper.

The hues are those of M. Okabe and K. Ito, "Color Universal Design (CUD): how to make figures and
presentations that are friendly to colorblind people" (2008), told apart with any common kind of
colour vision; each is used on the paper on which it reaches a contrast of 3:1 (WCAG 2.2, 1.4.11).
Colour never stands alone: patterns, titles and words say the same.
"""

from dataclasses import dataclass
from typing import Literal

Scheme = Literal["light", "dark"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """One colour for each part that energy flows through, and those of paper and ink.

    ``shade`` lies where nothing was measured.
    """

    pv: str
    load: str
    grid: str
    battery: str
    loss: str
    paper: str
    ink: str
    rule: str
    shade: str


PALETTES: dict[Scheme, Palette] = {
    "light": Palette(
        pv="#D55E00",
        load="#0072B2",
        grid="#CC79A7",
        battery="#009E73",
        loss="#66717A",
        paper="#FFFFFF",
        ink="#1A2229",
        rule="#D5DBE0",
        shade="#E9EDF0",
    ),
    "dark": Palette(
        pv="#E69F00",
        load="#56B4E9",
        grid="#CC79A7",
        battery="#009E73",
        loss="#9AA7B0",
        paper="#12181D",
        ink="#E6EBEF",
        rule="#36424C",
        shade="#232E36",
    ),
}
