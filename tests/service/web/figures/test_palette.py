from dataclasses import fields

import pytest

from joulebook.web.figures.palette import PALETTES, Scheme

#: M. Okabe and K. Ito, "Color Universal Design", 2008, figure 16: the eight colours.
_OKABE_ITO = {
    "#000000",
    "#E69F00",
    "#56B4E9",
    "#009E73",
    "#F0E442",
    "#0072B2",
    "#D55E00",
    "#CC79A7",
}


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_of_black_on_white_is_21() -> None:
    # WCAG 2.2, "contrast ratio": ratios range from 1 to 21.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_part_can_be_told_from_the_paper(scheme: Scheme) -> None:
    palette = PALETTES[scheme]
    for part in ("pv", "load", "grid", "battery", "loss"):
        # WCAG 2.2, 1.4.11: graphical objects, 3:1.
        assert contrast(getattr(palette, part), palette.paper) >= 3, part
    # WCAG 2.2, 1.4.6: text, 7:1.
    assert contrast(palette.ink, palette.paper) >= 7


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_hues_are_those_of_okabe_and_ito_and_each_is_used_once(scheme: Scheme) -> None:
    palette = PALETTES[scheme]
    hues = [palette.pv, palette.load, palette.grid, palette.battery]
    assert set(hues) < _OKABE_ITO
    assert len(set(hues)) == 4


def test_both_schemes_have_every_colour() -> None:
    for palette in PALETTES.values():
        assert all(len(getattr(palette, each.name)) == 7 for each in fields(palette))
