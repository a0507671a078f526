from collections.abc import Iterator
from urllib.parse import unquote

import pytest
from fastapi.testclient import TestClient

from tests.helpers.carried_sites import DAY_MS, HOUR_MS, MINUTE_MS, carried_site, end_ms
from tests.helpers.pages import client_of, words_of

_PAGE = "/sites/studio/rehearsal"
#: The site's clock stands at ten past seven of the last day: the kettle began ten minutes ago.
NOW_MS = end_ms() - DAY_MS + 7 * HOUR_MS + 10 * MINUTE_MS


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    database, _ = carried_site(tmp_path_factory.mktemp("rehearsed"), inverter_w=6500.0)
    yield client_of(database, now_ms=NOW_MS)
    database.close()


def words(client: TestClient, query: str = "") -> str:
    answer = client.get(_PAGE + query)
    assert answer.status_code == 200
    return words_of(answer.text)


def test_it_begins_with_cautions_and_how_it_goes(client: TestClient) -> None:
    text = words(client)
    assert text.index("Be careful") < text.index("How it goes") < text.index("Begin now")
    assert "joulebook switches nothing" in text
    assert "licensed electrician" in text


def test_beginning_and_ending_are_kept_in_the_address_alone(client: TestClient) -> None:
    begun = client.get(f"{_PAGE}/begin")
    assert (begun.status_code, begun.headers["cache-control"]) == (307, "no-store")
    assert unquote(begun.headers["location"]) == f"{_PAGE}?from=2026-06-09T07:10:00Z"
    assert client.get(begun.headers["location"]).status_code == 200
    at_once = client.get(f"{_PAGE}/end", params={"from": "2026-06-09T07:10:00Z"})
    assert client.get(at_once.headers["location"]).status_code == 200
    ended = client.get(f"{_PAGE}/end", params={"from": "2026-06-09T06:55:00Z"})
    assert unquote(ended.headers["location"]) == (
        f"{_PAGE}?from=2026-06-09T06:55:00Z&to=2026-06-09T07:10:00Z"
    )


def test_while_it_runs_it_tells_what_was_seen_so_far(client: TestClient) -> None:
    text = words(client, "?from=2026-06-09T06:55:00Z")
    assert "Running since 9 June 2026 06:55 UTC" in text
    assert "Stop now" in text
    assert "The largest start of this time: 1500 W, seen once" in text


def test_what_came_of_it(client: TestClient) -> None:
    text = words(client, "?from=2026-06-09T06:55:00Z&to=2026-06-09T07:10:00Z")
    assert "The battery carried it, as far as the readings show." in text
    assert "Read up to 9 June 2026 07:09 UTC" in text
    assert "Rating leaves 4600 W at most" in text
    assert "What this cannot see: read every 60 s" in text
    assert "Stop now" not in text


def test_a_time_without_a_start_or_without_readings(client: TestClient) -> None:
    quiet = words(client, "?from=2026-06-09T05:00:00Z&to=2026-06-09T06:00:00Z")
    assert "No start of 200 W or more was read in this time." in quiet
    unread = words(client, "?from=2026-05-09T05:00:00Z&to=2026-05-09T06:00:00Z")
    assert "This time cannot be told: the load was not measured." in unread


def test_a_time_that_is_none_is_a_problem(client: TestClient) -> None:
    for query in ("?from=soon", "?from=2026-06-09T07:00:00Z&to=2026-06-09T06:00:00Z"):
        assert client.get(_PAGE + query).status_code == 422
