"""Take README's pictures of the demonstration: ``python -m tests.take_pictures [FOLDER]``."""

import sys
import tempfile
from pathlib import Path

from joulebook.cli import main
from tests.helpers.browser import Page, opened_page
from tests.helpers.service import running_service

PICTURES = Path(__file__).parents[1] / "docs" / "pictures"
#: A picture's name, its page, and how much of the page it shows. [px]
PAGES = {
    "week-390.png": ("/sites/studio", 1320),
    "checks-390.png": ("/sites/studio/checks", 844),
    "carry-390.png": ("/sites/studio/carry", 1240),
    "efficiency-390.png": ("/sites/studio/efficiency", 1240),
    "warranty-390.png": ("/sites/studio/warranty", 1240),
}
STATIC = Path(__file__).parents[1] / "service" / "joulebook" / "web" / "static"
#: An icon's name, what it is drawn from, and its width. [px]
ICONS = {
    "icon-180.png": ("icon-full.svg", 180),
    "icon-192.png": ("icon.svg", 192),
    "icon-512.png": ("icon.svg", 512),
    "icon-full-512.png": ("icon-full.svg", 512),
}
#: A page that is as wide as its window, without a margin.
_BARE = '<meta name="viewport" content="width=device-width"><style>body { margin: 0 }</style>'


def take(data_dir: Path, folder: Path) -> None:
    """Save each picture, 390 pixels wide, of the demonstration in a data directory."""
    folder.mkdir(parents=True, exist_ok=True)
    with running_service(data_dir) as service, opened_page() as page:
        for name, (path, height) in PAGES.items():
            page.look_like(width=390, height=height)
            page.go(service.pages + path)
            page.wait_for_figures()
            (folder / name).write_bytes(page.picture())


def draw_icons(page: Page, folder: Path) -> None:
    """Save the icons of the home screen as they are drawn."""
    for name, (drawing, width) in ICONS.items():
        page.look_like(width=width, height=width)
        picture = (STATIC / drawing).read_text().replace("<svg ", f'<svg width="{width}" ', 1)
        page.run(page.tab.set_content(f"{_BARE}{picture}"))
        (folder / name).write_bytes(page.picture(clear=True))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        main(["demo", "--data", made, "--no-serve"])
        take(Path(made), Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES)
