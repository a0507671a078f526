from pathlib import Path

import pytest

from tests.take_pictures import PAGES, take


@pytest.mark.outside
def test_the_pictures_of_readme_are_taken_of_the_demonstration(
    demo_data: Path, tmp_path: Path
) -> None:
    take(demo_data, tmp_path)
    for name in PAGES:
        picture = (tmp_path / name).read_bytes()
        # PNG (ISO/IEC 15948): signature, then IHDR with the width at byte 16.
        assert picture.startswith(b"\x89PNG\r\n\x1a\n")
        assert int.from_bytes(picture[16:20], "big") == 390
        assert len(picture) > 20_000  # an empty page is a few kB
