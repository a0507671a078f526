from pathlib import Path

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from tests.helpers.pages import Studio, client_of, outline, words_of


def test_with_one_site_it_goes_straight_on(studio: Studio) -> None:
    answer = studio.client.get("/")
    assert (answer.status_code, answer.headers["location"]) == (307, "/sites/studio")


def test_with_several_sites_it_lists_them(empty: Studio) -> None:
    add_site(empty.database, "barn", "America/Denver")
    page = outline(empty.client.get("/").text)
    assert "2 sites are kept here." in page.text
    assert {"href": "/sites/barn"} in page.named("a")
    assert {"href": "/sites/studio"} in page.named("a")


def test_without_a_site_it_says_how_to_add_one(tmp_path: Path) -> None:
    words = words_of(client_of(Database.open(tmp_path)).get("/").text)
    assert "No site yet" in words
    assert f"joulebook site add home --timezone America/Chicago --data {tmp_path}" in words


def test_a_name_that_is_unknown_when_there_is_no_site(tmp_path: Path) -> None:
    answer = client_of(Database.open(tmp_path)).get("/sites/studio")
    assert answer.json()["expected"] == "the name of a site: none yet"
