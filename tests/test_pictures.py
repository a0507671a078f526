from pathlib import Path

import pytest

from tests.helpers.browser import opened_page
from tests.take_pictures import ICONS, PAGES, PICTURES, STATIC, draw_icons, take


def size_of(picture: bytes) -> tuple[int, int]:
    """Return width and height of a PNG."""
    # PNG (ISO/IEC 15948): signature, then IHDR with the width at byte 16 and the height at 20.
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    return int.from_bytes(picture[16:20], "big"), int.from_bytes(picture[20:24], "big")


@pytest.mark.outside
def test_the_pictures_of_readme_are_taken_of_the_demonstration(
    demo_data: Path, tmp_path: Path
) -> None:
    take(demo_data, tmp_path)
    for name, (_, height) in PAGES.items():
        picture = (tmp_path / name).read_bytes()
        assert size_of(picture) == (390, height)
        assert len(picture) > 20_000  # an empty page is a few kB


def test_the_pictures_that_are_kept_are_those_and_small() -> None:
    assert {path.name for path in PICTURES.iterdir()} == set(PAGES)
    for name, (_, height) in PAGES.items():
        picture = (PICTURES / name).read_bytes()
        assert size_of(picture) == (390, height)
        assert 20_000 < len(picture) <= 120_000, name


@pytest.mark.outside
def test_the_icons_are_those_that_their_drawings_show(tmp_path: Path) -> None:
    with opened_page() as page:
        draw_icons(page, tmp_path)
    for name, (_, width) in ICONS.items():
        drawn, kept = (tmp_path / name).read_bytes(), (STATIC / name).read_bytes()
        assert size_of(drawn) == size_of(kept) == (width, width)
        # Browsers of other versions pack the same picture a little differently.
        assert len(drawn) == pytest.approx(len(kept), rel=0.15)
