from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import UnavailableError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.web import backing
from joulebook.web.pages.home import MOST_LISTED
from tests.helpers.pages import client_of


def test_somebody_who_asks_for_a_site_that_is_not_there_is_told_of_some_that_are(
    tmp_path: Path,
) -> None:
    with closing(Database.open(tmp_path)) as database:
        for number in range(23):
            add_site(database, f"home-{number:02d}", "Europe/Lisbon")
        expected = client_of(database).get("/sites/studio").json()["expected"]
    assert expected.startswith("the name of a site: home-00, home-01, ")
    assert expected.endswith(", home-19 and 3 more")


def test_where_there_are_many_sites_the_first_page_is_that_of_all_homes(tmp_path: Path) -> None:
    with closing(Database.open(tmp_path)) as database:
        for number in range(MOST_LISTED):
            add_site(database, f"home-{number:02d}", "Europe/Lisbon")
        client = client_of(database)
        assert client.get("/").status_code == 200
        add_site(database, "one-more", "Europe/Lisbon")
        answer = client.get("/")
    assert (answer.status_code, answer.headers["location"]) == (307, "/homes")


def test_a_page_of_trouble_is_shown_though_the_database_is_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*_: object, **__: object) -> None:
        raise UnavailableError("it is away", where="disk", expected="a disk", next_step="look")

    with closing(Database.open(tmp_path)) as database:
        monkeypatch.setattr(backing, "site_names", away)
        page = client_of(database).get("/nothing", headers={"accept": "text/html"})
    assert page.status_code == 404
    assert "Nothing here" in page.text
