import gzip
import re
from importlib import resources

import pytest

from joulebook.web.assets import PLOTLY, Assets
from tests.helpers.pages import Studio


@pytest.fixture(scope="module")
def assets() -> Assets:
    return Assets()


def test_a_file_keeps_for_ever_under_an_address_that_changes_with_it(
    studio: Studio, assets: Assets
) -> None:
    url = assets.url("joulebook.css")
    assert re.fullmatch(r"/assets/[0-9a-f]{16}/joulebook\.css", url)
    answer = studio.client.get(url, headers={"accept-encoding": "identity"})
    assert answer.headers["content-type"] == "text/css; charset=utf-8"
    # RFC 8246: immutable content is not asked for again.
    assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
    own = resources.files("joulebook.web") / "static" / "joulebook.css"
    assert answer.content == own.read_bytes()
    assert "content-encoding" not in answer.headers


def test_plotly_is_that_of_the_installed_package_and_travels_compressed(
    studio: Studio, assets: Assets
) -> None:
    answer = studio.client.get(assets.url(PLOTLY), headers={"accept-encoding": "gzip"})
    installed = resources.files("plotly") / "package_data" / PLOTLY
    assert answer.headers["content-encoding"] == "gzip"
    assert answer.content == installed.read_bytes()
    assert int(answer.headers["content-length"]) < len(answer.content) / 3


def test_a_file_is_compressed_once(assets: Assets) -> None:
    asset = assets.find(assets.url("live.js").split("/")[2], "live.js")
    assert asset is not None
    assert asset.packed() is asset.packed()
    assert gzip.decompress(asset.packed()) == asset.content


@pytest.mark.parametrize(
    "path", ["/assets/0000000000000000/live.js", "/assets/0/../joulebook.css", "/assets/0/x.py"]
)
def test_another_address_holds_nothing(studio: Studio, path: str) -> None:
    assert studio.client.get(path).status_code == 404
