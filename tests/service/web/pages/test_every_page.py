"""What all pages have in common: HTML that reads well without eyes, scripts or colours."""

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.helpers.pages import Outline, Studio, client_of, outline

_PAGES = (
    "/sites/studio",
    "/sites/studio?week=2026-W09",
    "/sites/studio/days/2026-03-04",
    "/sites/studio/days/2026-03-01",
    "/sites/studio/days/2026-02-24",
    "/sites/studio/months",
    "/sites/studio/efficiency",
    "/sites/studio/wear",
    "/sites/studio/warranty",
    "/sites/studio/checks",
    "/sites/studio/carry",
    "/sites/studio/rehearsal",
    "/sites/studio/rehearsal?from=2026-03-04T11:00:00Z",
    "/sites/studio/quarantine",
    "/sites/studio/setup",
    "/sites/studio/setup/site",
    "/sites/studio/setup/terms",
    "/sites/studio/setup/devices",
    "/sites/studio/setup/events",
    "/sites/studio/setup/corrections",
    "/sites/studio/setup/sign-off",
    "/setup/new-site",
    "/quarantine",
    "/about",
    "/api/docs",
    "/nothing",
)
#: Pages of the whole record, where it is analysed: which fixture has it, and the page.
_OF_A_RECORD = (
    ("short", "/sites/studio/efficiency?stretches=all"),
    ("short", "/sites/studio/wear?nights=2026"),
    ("short", "/sites/studio/warranty"),
    ("long", "/sites/studio/efficiency"),
    ("long", "/sites/studio/wear"),
    ("long", "/sites/studio/warranty"),
    ("shallow", "/sites/studio/wear"),
    ("priced", "/sites/studio/money"),
    ("studio", "/sites/studio/money"),
    ("priced", "/sites/studio/setup/tariff"),
    ("self_serving", "/sites/studio/plan?battery_kwh=9"),
    ("studio", "/sites/studio/plan"),
)


@dataclass(frozen=True)
class Visited:
    """A page, and the studio that it is of."""

    studio: Studio
    page: Outline


@pytest.fixture(
    params=[*(("studio", path) for path in _PAGES), *_OF_A_RECORD],
    ids=lambda each: " ".join(each),
)
def visited(request: pytest.FixtureRequest) -> Visited:
    name, path = request.param
    studio: Studio = request.getfixturevalue(name)
    return Visited(studio, outline(studio.client.get(path, headers={"accept": "text/html"}).text))


def test_it_has_a_language_landmarks_one_heading_and_labels(visited: Visited) -> None:
    page = visited.page
    assert page.named("html") == [{"lang": "en"}]
    for landmark in ("header", "main", "footer", "h1", "title"):
        assert len(page.named(landmark)) == 1, landmark
    assert page.named("meta")[1]["content"] == "width=device-width, initial-scale=1"
    assert len(page.named("table")) == len(page.named("caption"))
    assert all(cell.get("scope") in ("row", "col") for cell in page.named("th"))
    assert all("alt" in image for image in page.named("img"))
    for navigation in page.named("nav"):
        assert navigation["aria-label"]
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes in page.tags:
        assert attributes.get("aria-labelledby", "content") in [*ids, "content"]


def test_no_script_and_no_style_stands_in_it(visited: Visited) -> None:
    page = visited.page
    assert all("src" in script and "defer" in script for script in page.named("script"))
    assert not page.named("style")
    for _, attributes in page.tags:
        assert "style" not in attributes
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href"):
            assert (attributes.get(name) or "/").startswith(("/", "#", "?"))


def test_every_link_and_file_leads_somewhere(visited: Visited) -> None:
    page = visited.page
    addresses = {
        attributes[name]
        for _, attributes in page.tags
        for name in ("href", "src", "data-figure", "data-live", "data-plotly")
        if name in attributes
    }
    assert len(addresses) > 5
    for address in addresses:
        assert address is not None
        if not address.startswith("#"):
            assert visited.studio.client.get(address).status_code in (200, 307), address


def test_it_says_that_nothing_is_controlled(visited: Visited) -> None:
    page = visited.page
    assert "It never switches, sets or controls anything." in page.text
    assert {"href": "/about"} in page.named("a")
    assert "joulebook 1.2.3" in page.text


def test_the_pages_of_methods_that_it_names_are_there(visited: Visited) -> None:
    words = visited.page.text
    repository = Path(__file__).parents[4]
    for page in re.findall(r"docs/[\w/-]+\.md", words):
        assert (repository / page).is_file(), page


def test_the_cautions_are_there(studio: Studio) -> None:
    # Common practice, no source.
    words = outline(studio.client.get("/about").text).text.lower()
    for caution in ("stored energy", "direct-current arc", "lock each one", "qualified person",
                    "local codes"):  # fmt: skip
        assert caution in words


def test_a_name_is_never_taken_as_html(tmp_path: Path, empty: Studio) -> None:
    assert tmp_path == empty.database.data_dir
    answer = client_of(empty.database).get(
        "/sites/<script>x</script>", headers={"accept": "text/html"}
    )
    assert all("src" in script for script in outline(answer.text).named("script"))
