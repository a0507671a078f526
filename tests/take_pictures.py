"""Take README's picture of the demonstration: ``python -m tests.take_pictures [FOLDER]``."""

import sys
import tempfile
from pathlib import Path

from joulebook.cli import main
from tests.helpers.browser import screenshot
from tests.helpers.service import running_service

PICTURES = Path(__file__).parents[1] / "docs" / "pictures"
PAGES = {"week-390.png": "/sites/studio"}


def take(data_dir: Path, folder: Path) -> None:
    """Save each picture, 390 pixels wide, of the demonstration in a data directory."""
    folder.mkdir(parents=True, exist_ok=True)
    with running_service(data_dir) as service:
        for name, page in PAGES.items():
            screenshot(service.pages + page, folder / name, width=390, height=1320)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        main(["demo", "--data", made, "--no-serve"])
        take(Path(made), Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES)
