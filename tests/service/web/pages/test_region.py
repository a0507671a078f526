from contextlib import closing

import pytest
from fastapi.testclient import TestClient

from joulebook.storage.site_facts import change_facts
from tests.helpers.pages import Studio, client_of, outline, words_of

_AMERICAN = {"accept-language": "en-US,en;q=0.9"}


@pytest.fixture
def client(studio: Studio) -> TestClient:
    """A browser of its own, which keeps cookies."""
    return client_of(studio.database)


def test_a_page_reads_as_the_browser_asks(studio: Studio) -> None:
    address = "/sites/studio/days/2026-03-03"
    page = studio.client.get(address, headers=_AMERICAN)
    assert "Tuesday, March 3, 2026" in words_of(page.text)
    assert "Tuesday 3 March 2026" in words_of(studio.client.get(address).text)
    # RFC 9110, 12.5.5: what an answer depends on.
    assert {"Accept-Language", "Cookie"} <= set(page.headers["vary"].split(", "))


def test_a_figure_reads_so_too_and_a_file_is_the_same_for_all(studio: Studio) -> None:
    address = "/sites/studio/figures/days/2026-03-03"
    figure = studio.client.get(address, headers=_AMERICAN)
    assert figure.json()["layout"]["xaxis"]["ticktext"][1] == "4\u00a0AM"
    assert "Accept-Language" in figure.headers["vary"]
    assert "Accept-Language" not in studio.client.get("/worker.js").headers.get("vary", "")


def test_a_choice_comes_first_and_can_be_taken_back(client: TestClient) -> None:
    answer = client.post("/region", data={"proof": "", "region": "en-DE"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/region?done=chosen")
    page = client.get("/region?done=chosen", headers=_AMERICAN).text
    assert "12.345,6 and 4 March 2026 12:00 UTC" in words_of(page)
    assert "They read so on this device from now on." in words_of(page)
    assert {"value": "en-DE", "selected": None} in outline(page).named("option")
    client.post("/region", data={"proof": "", "region": "plain"})
    assert "12345.6 and 4 March 2026 12:00 UTC" in words_of(
        client.get("/region", headers=_AMERICAN).text
    )
    client.post("/region", data={"proof": "", "region": "asked"})
    page = client.get("/region", headers=_AMERICAN).text
    assert "12,345.6 and March 4, 2026 12:00 PM UTC" in words_of(page)
    assert {"value": "asked", "selected": None} in outline(page).named("option")


def test_another_word_chooses_nothing(client: TestClient) -> None:
    answer = client.post("/region", data={"proof": "", "region": "nowhere"})
    assert answer.status_code == 422
    words = words_of(answer.text)
    assert "Nothing was changed." in words
    assert "region" not in client.cookies


def test_a_site_reads_as_its_owner_entered(empty: Studio) -> None:
    with closing(empty.database.connect()) as connection:
        change_facts(connection, empty.site, locale="hu-HU")
    # It is 4 March there: the problem names the days.
    told = empty.client.get("/sites/studio/days/2026-03-06", headers=_AMERICAN).json()
    assert told["expected"] == "a day up to 2026 March\u00a04"
