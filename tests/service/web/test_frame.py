"""What makes the pages an app on a home screen."""

import json
import re

import pytest

from joulebook.web.assets import Assets
from joulebook.web.frame import PAPER
from tests.helpers.pages import Studio, outline


@pytest.fixture(scope="module")
def manifest(studio: Studio) -> dict[str, object]:
    (link,) = [
        each
        for each in outline(studio.client.get("/about").text).named("link")
        if each["rel"] == "manifest"
    ]
    answer = studio.client.get(str(link["href"]))
    # W3C Web Application Manifest, "Media type registration".
    assert answer.headers["content-type"] == "application/manifest+json"
    told: dict[str, object] = json.loads(answer.content)
    return told


def test_the_manifest_has_what_a_home_screen_needs(manifest: dict[str, object]) -> None:
    # W3C Web Application Manifest: members name, start_url, scope, display, theme_color.
    assert manifest["name"] == "joulebook"
    assert (manifest["start_url"], manifest["scope"]) == ("/", "/")
    assert manifest["display"] == "standalone"
    assert manifest["theme_color"] == PAPER["light"]


def test_its_icons_are_there_in_the_sizes_that_it_says(
    studio: Studio, manifest: dict[str, object]
) -> None:
    icons = manifest["icons"]
    assert isinstance(icons, list)
    sizes = set()
    for icon in icons:
        answer = studio.client.get(icon["src"])
        assert answer.headers["content-type"] == icon["type"]
        if icon["type"] == "image/png":
            # PNG (ISO/IEC 15948): IHDR has width and height at bytes 16 to 24.
            width, height = (
                int.from_bytes(answer.content[place : place + 4], "big") for place in (16, 20)
            )
            assert icon["sizes"] == f"{width}x{height}"
            sizes.add((width, icon["purpose"]))
    # Common practice: 192 and 512 pixels, and one that a mask may cut ("maskable").
    assert sizes == {(192, "any"), (512, "any"), (512, "maskable")}


def test_the_papers_colour_is_that_of_the_style(studio: Studio) -> None:
    style = studio.client.get(Assets().url("joulebook.css")).text
    assert re.findall(r"--paper: (#\w+)", style) == [PAPER["light"], PAPER["dark"]]
    tags = outline(studio.client.get("/about").text).named("meta")
    assert {each["content"] for each in tags if each.get("name") == "theme-color"} == set(
        PAPER.values()
    )


def test_the_worker_speaks_for_every_page_and_keeps_files_that_are_there(studio: Studio) -> None:
    answer = studio.client.get("/worker.js")
    # Service Workers, "Register": a script's own folder is as far as its scope goes.
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    found = re.search(r"const FRAME = (\[.*?\]);", answer.text)
    assert found is not None
    kept = json.loads(found[1])
    assert len(kept) == 4
    assert all(path.startswith("/assets/") for path in kept)
    assert {studio.client.get(path).status_code for path in kept} == {200}
    assert f'const OFFLINE = "{kept[0]}";' in answer.text


def test_the_notice_names_nothing_of_a_site(studio: Studio) -> None:
    notice = re.search(r'const OFFLINE = "(.*?)"', studio.client.get("/worker.js").text)
    assert notice is not None
    page = outline(studio.client.get(notice[1]).text)
    assert "studio" not in page.text
    assert "Nothing is lost because this page does not open." in page.text
    assert "It never switches, sets or controls anything." in page.text
